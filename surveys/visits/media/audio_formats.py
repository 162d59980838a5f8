"""Accepted audio formats: media type, file extension and signature, and limits of size."""

from __future__ import annotations

import re
from collections.abc import Callable

MAX_BYTES = 40 * 1024 * 1024
MAX_DURATION_S = 30 * 60
_MB = 1024 * 1024
_MPEG_SYNC = 0xE0

# File extension and signature by media type. WebM: EBML header, RFC 8794 section 11.2.1.
# Ogg: RFC 3533 section 6. MP4: file type box, ISO/IEC 14496-12 section 4.3. WAVE: RFC 2361
# and the RIFF form it names. FLAC: RFC 9639 section 8.1. MPEG audio: frame sync, ISO/IEC
# 11172-3 section 2.4.1.3, or an ID3v2 tag before it.
_KINDS: dict[str, tuple[str, Callable[[bytes], bool]]] = {
    "audio/webm": ("webm", lambda head: head[:4] == b"\x1a\x45\xdf\xa3"),
    "audio/ogg": ("ogg", lambda head: head[:4] == b"OggS"),
    "audio/mp4": ("m4a", lambda head: head[4:8] == b"ftyp"),
    "audio/wav": ("wav", lambda head: head[:4] == b"RIFF" and head[8:12] == b"WAVE"),
    "audio/flac": ("flac", lambda head: head[:4] == b"fLaC"),
    "audio/mpeg": (
        "mp3",
        lambda head: (
            head[:3] == b"ID3"
            or (head[:1] == b"\xff" and len(head) > 1 and head[1] & _MPEG_SYNC == _MPEG_SYNC)
        ),
    ),
}
_ALSO_CALLED = {
    "audio/x-wav": "audio/wav",
    "audio/wave": "audio/wav",
    "audio/x-m4a": "audio/mp4",
    "audio/x-flac": "audio/flac",
}
SIGNATURE_BYTES = 16
MEDIA_TYPES = tuple(_KINDS)


def media_type_of(typed: str) -> str | None:
    """An accepted media type without parameters, such as audio/webm for
    `audio/webm;codecs=opus`; None for all others."""
    name = re.split(r"[;\s]", typed.strip().lower(), maxsplit=1)[0]
    name = _ALSO_CALLED.get(name, name)
    return name if name in _KINDS else None


def file_extension(media_type: str) -> str:
    return _KINDS[media_type][0]


def has_signature_of(media_type: str, head: bytes) -> bool:
    """Whether a file whose first SIGNATURE_BYTES are `head` can be of that media type."""
    return _KINDS[media_type][1](head)


def megabytes(count: int) -> str:
    return f"{count / _MB:.1f} MB"
