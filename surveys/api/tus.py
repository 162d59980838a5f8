"""The headers of the tus resumable upload protocol, version 1.0.0: core, creation, checksum,
expiration and termination (https://tus.io/protocols/resumable-upload). Values in, values out."""

from __future__ import annotations

import base64
import binascii
import datetime as dt
import hashlib
import re
import uuid
from collections.abc import Mapping

from surveys.visits.media.audio_formats import MAX_BYTES
from surveys.visits.media.recordings import RecordingAnnouncement

VERSION = "1.0.0"
PIECE_TYPE = "application/offset+octet-stream"
# The standard requires sha1; our phones send sha256.
ALGORITHMS = ("sha256", "sha1")
SERVER_HEADERS = {
    "Tus-Version": VERSION,
    "Tus-Extension": "creation,checksum,expiration,termination",
    "Tus-Max-Size": str(MAX_BYTES),
    "Tus-Checksum-Algorithm": ",".join(ALGORITHMS),
}
MAX_METADATA_LENGTH = 4096
_COUNT = re.compile(r"[0-9]{1,15}")
_KEY = re.compile(r"[!-+\--~]+")  # ASCII that shows, without space and comma
_STOP = re.compile(r"[0-9]{1,4}")


class HeaderError(ValueError):
    """A header that cannot be read: its name, and a message that says how to write it."""

    def __init__(self, header: str, message: str) -> None:
        super().__init__(message)
        self.header = header


def read_count(headers: Mapping[str, str], name: str) -> int:
    """A non-negative number of bytes. Raises HeaderError."""
    text = headers.get(name, "").strip()
    if not _COUNT.fullmatch(text):
        raise HeaderError(name, f"Send {name} with a number of bytes, such as {name}: 1024.")
    return int(text)


def read_checksum(header: str) -> tuple[str, bytes] | None:
    """Algorithm and digest of `sha256 <Base64>`; None without a header. Raises HeaderError."""
    if not header.strip():
        return None
    algorithm, _, encoded = header.strip().partition(" ")
    if algorithm not in ALGORITHMS:
        raise HeaderError(
            "Upload-Checksum",
            f"The checksum “{algorithm}” is not known here. Known are: {', '.join(ALGORITHMS)}.",
        )
    digest = _decode_base64("Upload-Checksum", encoded)
    if len(digest) != hashlib.new(algorithm, usedforsecurity=False).digest_size:
        raise HeaderError("Upload-Checksum", f"This is not the length of a {algorithm} checksum.")
    return algorithm, digest


def read_metadata(header: str) -> dict[str, str]:
    """Keys and texts of Upload-Metadata: `key Base64,key Base64`. Raises HeaderError."""
    name = "Upload-Metadata"
    if len(header) > MAX_METADATA_LENGTH:
        raise HeaderError(name, f"{name} has room for {MAX_METADATA_LENGTH} characters.")
    metadata: dict[str, str] = {}
    for pair in header.split(",") if header.strip() else ():
        key, _, encoded = pair.strip(" ").partition(" ")
        if not _KEY.fullmatch(key):
            raise HeaderError(name, f"{name} holds a key that is empty or has a strange letter.")
        if key in metadata:
            raise HeaderError(name, f"{name} holds the key “{key}” twice.")
        try:
            metadata[key] = _decode_base64(name, encoded).decode("utf-8")
        except UnicodeDecodeError:
            raise HeaderError(name, f"The value of “{key}” is not text in UTF-8.") from None
    return metadata


def read_announcement(headers: Mapping[str, str]) -> RecordingAnnouncement:
    """What a creation request states about the recording. Raises HeaderError.

    Metadata: id and visit (UUIDs), kind, filetype, seconds, sha256; where they are known
    stop (number), species (code) and recorded (an instant by the clock of the phone).
    """
    if "Upload-Defer-Length" in headers:
        raise HeaderError(
            "Upload-Defer-Length", "Send Upload-Length: the length must be known at the beginning."
        )
    length = read_count(headers, "Upload-Length")
    metadata = read_metadata(headers.get("Upload-Metadata", ""))
    return RecordingAnnouncement(
        id=_uuid(metadata, "id"),
        visit=_uuid(metadata, "visit"),
        kind=metadata.get("kind", ""),
        media_type=metadata.get("filetype", ""),
        seconds=_seconds(metadata),
        bytes=length,
        sha256=metadata.get("sha256", ""),
        stop=_stop(metadata),
        species=metadata.get("species", "").replace("\0", ""),
        recorded_at=_recorded_at(metadata),
        metadata=headers.get("Upload-Metadata", ""),
    )


def _decode_base64(header: str, encoded: str) -> bytes:
    try:
        return base64.b64decode(encoded, validate=True)
    except (binascii.Error, ValueError):
        raise HeaderError(header, f"{header} holds a value that is not Base64.") from None


def _uuid(metadata: Mapping[str, str], key: str) -> uuid.UUID:
    try:
        return uuid.UUID(metadata.get(key, ""))
    except ValueError:
        raise _invalid_value(key, "a UUID") from None


def _seconds(metadata: Mapping[str, str]) -> float:
    try:
        return float(metadata.get("seconds", ""))
    except ValueError:
        raise _invalid_value("seconds", "a number") from None


def _stop(metadata: Mapping[str, str]) -> int | None:
    text = metadata.get("stop", "")
    if text and not _STOP.fullmatch(text):
        raise _invalid_value("stop", "the number of a stop")
    return int(text) if text else None


def _recorded_at(metadata: Mapping[str, str]) -> dt.datetime | None:
    text = metadata.get("recorded", "")
    if not text:
        return None
    try:
        instant = dt.datetime.fromisoformat(text)
        return instant.astimezone(dt.UTC) if instant.tzinfo else None
    except (ValueError, OverflowError):
        raise _invalid_value("recorded", "an instant such as 2024-04-16T02:14:00Z") from None


def _invalid_value(key: str, expected: str) -> HeaderError:
    return HeaderError("Upload-Metadata", f"Upload-Metadata must hold “{key}”: {expected}.")
