"""What tests have `surveys.bounded` run in the other process."""

import json
import os
import time

from surveys.bounded import RefusedError
from surveys.language import gettext_noop


def backwards(content: bytes) -> bytes:
    return content[::-1]


def loop(content: bytes) -> bytes:
    while True:
        pass


def sleep(content: bytes) -> bytes:
    time.sleep(60)
    return b""


def fill_memory(content: bytes) -> bytes:
    return bytes(10**9)


def refuse(content: bytes) -> bytes:
    raise RefusedError(gettext_noop("Row {number} is odd."), number=3)


def fail(content: bytes) -> bytes:
    raise ZeroDivisionError


def write_a_file(content: bytes) -> bytes:
    with open(content.decode(), "wb") as file:  # noqa: PTH123 - the shortest way to a file
        file.write(b"x")
    return b""


def environment(content: bytes) -> bytes:
    return json.dumps(dict(os.environ)).encode()
