"""Uploaded files on a disk of the server: whole or not at all, also where it is full."""

import contextlib
from collections.abc import Iterator, Mapping
from pathlib import Path

from django.conf import settings
from django.core.exceptions import RequestDataTooBig
from django.core.files.base import File
from django.core.files.storage import FileSystemStorage
from django.core.files.uploadedfile import UploadedFile
from django.core.files.uploadhandler import TemporaryFileUploadHandler


class WholeFileUploadHandler(TemporaryFileUploadHandler):
    """Django forgets the beginning of a file that is still on its way to the view, and takes
    files of any length."""

    def handle_raw_input(
        self,
        input_data: object,
        META: Mapping[str, str],  # noqa: N803 - named by Django
        content_length: int,
        boundary: bytes,
        encoding: str | None = None,
    ) -> None:
        if content_length > settings.MOST_BYTES_OF_A_FORM:
            raise RequestDataTooBig

    def receive_data_chunk(self, raw_data: bytes, start: int) -> None:
        with self._dropped_on_failure():
            super().receive_data_chunk(raw_data, start)

    def file_complete(self, file_size: int) -> UploadedFile:
        with self._dropped_on_failure():
            return super().file_complete(file_size)

    @contextlib.contextmanager
    def _dropped_on_failure(self) -> Iterator[None]:
        try:
            yield
        except OSError:
            # Closing it tries to write the rest, fails again, and deletes it.
            with contextlib.suppress(OSError):
                self.file.close()
            raise


class WholeFileStorage(FileSystemStorage):
    """Django leaves the beginning of a file that it could not save."""

    def _save(self, name: str, content: File) -> str:
        try:
            return super()._save(name, content)
        except OSError:
            # The name is of this one file: it holds the id of its row.
            with contextlib.suppress(OSError):
                Path(self.path(name)).unlink()
            raise
