"""Uploaded files in a bucket of an object storage that speaks S3, instead of on a disk.

Nobody but the site reads the bucket: it checks who asks, and passes the bytes on.
"""

import datetime as dt
from collections.abc import Iterator
from typing import Any

from boto3.s3.transfer import TransferConfig
from botocore.config import Config
from botocore.exceptions import BotoCoreError, ClientError
from storages.backends.s3 import S3Storage
from storages.utils import clean_name

_BLOCK = 64 * 1024
_IN_MEMORY = 1024 * 1024
# Larger than any file that is taken: each one is sent in one request, so that a process that is
# killed leaves no part of an upload, which would be paid for and in no list.
_ONE_REQUEST = 1024**3


class ObjectStorage(S3Storage):
    """`endpoint` is the address of the service, empty for that of AWS in the `region`; without
    `key` and `secret` those of the machine are used, as boto3 finds them."""

    def __init__(
        self, *, bucket: str, endpoint: str = "", region: str = "", key: str = "", secret: str = ""
    ) -> None:
        options: dict[str, Any] = {
            "bucket_name": bucket,
            "endpoint_url": endpoint or None,
            "region_name": region or None,
            "access_key": key or None,
            "secret_key": secret or None,
            # As on a disk: a name that is taken is never written again.
            "file_overwrite": False,
            "max_memory_size": _IN_MEMORY,
            "transfer_config": TransferConfig(multipart_threshold=_ONE_REQUEST, use_threads=False),
            "client_config": Config(
                connect_timeout=5,
                read_timeout=30,
                retries={"mode": "standard", "max_attempts": 3},
                signature_version="s3v4",
                # Services of others seldom have a host name for each bucket.
                s3={"addressing_style": "path" if endpoint else "auto"},
                request_checksum_calculation="when_required",
                response_checksum_validation="when_required",
            ),
        }
        super().__init__(**options)

    def read_part(self, name: str, first: int, last: int) -> Iterator[bytes]:
        """Bytes `first` to `last`, both included; no other ones leave the storage.

        Raises FileNotFoundError.
        """
        found = self.bucket.Object(self._normalize_name(clean_name(name)))
        try:
            body = found.get(Range=f"bytes={first}-{last}")["Body"]
        except found.meta.client.exceptions.NoSuchKey:
            raise FileNotFoundError(name) from None
        try:
            yield from body.iter_chunks(_BLOCK)
        finally:
            body.close()

    def names_before(self, folder: str, moment: dt.datetime) -> Iterator[str]:
        """Names of all files below a folder that were stored before then, in a request for each
        thousand of them."""
        for found in self.bucket.objects.filter(Prefix=self._normalize_name(f"{folder}/")):
            if found.last_modified < moment:
                yield found.key

    def is_writable(self) -> bool:
        """Writes a small file of its own."""
        try:
            self.bucket.Object(self._normalize_name("writable")).put(Body=b"x")
        except (BotoCoreError, ClientError):
            return False
        return True
