"""Fragments of MP4 that are announced twice.

Browsers on GStreamer write the head of the last fragment a second time when a recording is stopped:
the first one has no sound behind it, and a decoder takes what follows for sound.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

# ISO/IEC 14496-12: sections 4.2 (size and type of a box), 8.8.4 (moof) and 8.8.5 (mfhd, the first
# box in it, with a number of its own for each fragment).
FRAGMENT = b"moof"
_HEAD_BYTES, _LONG_HEAD_BYTES = 8, 16
_NUMBERED_BYTES = _HEAD_BYTES + 16


def once_each(content: bytes) -> bytes:
    """The file without heads of fragments that the next box repeats."""
    boxes = list(_boxes(content))
    repeated = [this for this, following in pairwise(boxes) if _is_same(content, this, following)]
    if not repeated:
        return content
    kept, at = [], 0
    for start, end, _ in repeated:
        kept.append(content[at:start])
        at = end
    return b"".join((*kept, content[at:]))


_Box = tuple[int, int, bytes]


def _is_same(content: bytes, this: _Box, following: _Box) -> bool:
    """Whether both are heads of a fragment that say the same of their sound."""
    if not this[2] == following[2] == FRAGMENT:
        return False
    return _said(content, this) == _said(content, following)


def _said(content: bytes, box: _Box) -> bytes:
    return content[box[0] + _NUMBERED_BYTES : box[1]]


def _boxes(content: bytes) -> Iterator[_Box]:
    """Start, end and type of each box of the outermost level, up to one of an impossible size."""
    at = 0
    while at + _HEAD_BYTES <= len(content):
        size = int.from_bytes(content[at : at + 4])
        least = _HEAD_BYTES
        if size == 1:
            least = _LONG_HEAD_BYTES
            size = int.from_bytes(content[at + _HEAD_BYTES : at + _LONG_HEAD_BYTES])
        end = at + size if size else len(content)
        if not at + least <= end <= len(content):
            return
        yield at, end, content[at + 4 : at + _HEAD_BYTES]
        at = end
