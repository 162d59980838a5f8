"""Asks ClamAV's daemon whether a file that somebody sent holds malware, where the site has one.

The daemon gets the bytes over its socket and reads no file of ours. INSTREAM, as clamd(8) has it:
the length of each part as 4 bytes, then the part; a length of 0 ends the file.
"""

import socket
import struct
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass
from typing import BinaryIO

from surveys.language import gettext_noop

REFUSED = gettext_noop(
    "The virus scanner found “{name}” in this file, so we cannot take it. Check the device that it "
    "comes from. If you are sure that the file is clean, tell the person who runs this site."
)
AWAY = gettext_noop(
    "The virus scanner does not answer, so we cannot take this file now. Try again in a few "
    "minutes."
)
# A file may wait for its turn, and a large archive is unpacked.
ANSWERS_WITHIN_S = 60
_CONNECTS_WITHIN_S = 5
_PART = 64 * 1024
_FOUND = " FOUND"


@dataclass
class _Current:
    """The path of a socket, or host:port; empty where the site has no scanner."""

    scanner: str = ""


_current = _Current()


class InfectedError(Exception):
    """`name` is the scanner's."""

    def __init__(self, name: str) -> None:
        super().__init__(REFUSED.format(name=name))
        self.name = name


class ScannerAwayError(Exception):
    """It does not answer, or cannot say: what is not known to be clean is not taken."""


def use(scanner: str) -> None:
    _current.scanner = scanner


def check(content: BinaryIO) -> None:
    """Nothing, where the site has no scanner. Raises InfectedError, ScannerAwayError."""
    if not _current.scanner:
        return
    try:
        answer = _asked(content)
    except OSError as error:
        raise ScannerAwayError(str(error)) from error
    said = answer.partition(": ")[2]
    if said.endswith(_FOUND):
        raise InfectedError(said.removesuffix(_FOUND))
    if said != "OK":
        raise ScannerAwayError(answer)


def _asked(content: BinaryIO) -> str:
    """What it says of the bytes, such as `stream: OK`."""
    with closing(_connected()) as line:
        line.settimeout(ANSWERS_WITHIN_S)
        line.sendall(b"zINSTREAM\0")
        for part in _parts(content):
            line.sendall(struct.pack("!I", len(part)) + part)
        line.sendall(struct.pack("!I", 0))
        return b"".join(iter(lambda: line.recv(_PART), b"")).decode(errors="replace").strip("\0\n ")


def _connected() -> socket.socket:
    if "/" not in _current.scanner:
        host, _, port = _current.scanner.rpartition(":")
        return socket.create_connection((host, int(port)), _CONNECTS_WITHIN_S)
    line = socket.socket(socket.AF_UNIX)
    line.settimeout(_CONNECTS_WITHIN_S)
    try:
        line.connect(_current.scanner)
    except OSError:
        line.close()
        raise
    return line


def _parts(content: BinaryIO) -> Iterator[bytes]:
    content.seek(0)
    while part := content.read(_PART):
        yield part
