"""A server that speaks S3, in a process of its own, and the storage of the site in its bucket."""

import contextlib
import subprocess
import sys
from collections.abc import Iterator
from typing import Any

import boto3

from tests.support.served import free_port, wait_for_port

_ACCESS = {"region_name": "us-east-1", "aws_access_key_id": "key", "aws_secret_access_key": "word"}


@contextlib.contextmanager
def object_server(*buckets: str) -> Iterator[str]:
    """The address of a server with these empty buckets. Raises RuntimeError."""
    port = free_port()
    command = [sys.executable, "-m", "moto.server", "--host", "127.0.0.1", "--port", str(port)]
    with subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL) as process:
        try:
            if not wait_for_port(port, process):
                raise RuntimeError("The object storage did not start.")
            address = f"http://127.0.0.1:{port}"
            for bucket in buckets:
                client_of(address).create_bucket(Bucket=bucket)
            yield address
        finally:
            process.kill()


def storage_in(address: str, bucket: str) -> dict[str, Any]:
    """An entry of STORAGES."""
    return {
        "BACKEND": "surveys.visits.media.object_storage.ObjectStorage",
        "OPTIONS": {"bucket": bucket, "endpoint": address, "region": "us-east-1"}
        | {"key": "key", "secret": "word"},
    }


def client_of(address: str) -> Any:
    return boto3.client("s3", endpoint_url=address, **_ACCESS)
