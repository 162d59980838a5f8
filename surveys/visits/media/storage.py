"""The storage of uploaded files on a disk of the server."""

import contextlib
from pathlib import Path

from django.core.files.base import File
from django.core.files.storage import FileSystemStorage


class WholeFileStorage(FileSystemStorage):
    """Keeps a file whole or not at all: Django leaves the beginning of one on a full disk."""

    def _save(self, name: str, content: File) -> str:
        try:
            return super()._save(name, content)
        except OSError:
            # The name is of this one file: it holds the id of its row.
            with contextlib.suppress(OSError):
                Path(self.path(name)).unlink()
            raise
