"""What the worker asks of the process that reads a recording, and what it is answered.

Before the bytes of the file stands a line of JSON, what is asked; in the answer stands one, too,
before the files that were made. Apart from `sound_work`, which imports what takes long to.
"""

import json
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import accumulate, pairwise
from typing import Any

WORK = "surveys.visits.media.sound_work"
SHORTEST_REFERENCE_S = 0.5


@dataclass(frozen=True, kw_only=True)
class Made:
    """`seekable` is empty where the file needs no copy."""

    seconds: float
    cut: bool
    measures: dict[str, Any]
    image: bytes
    waveform: bytes
    seekable: bytes


@dataclass(frozen=True, kw_only=True)
class MadeReference:
    """`audio` is a file of the type of `surveys.sound.encoding`."""

    seconds: float
    measures: dict[str, Any]
    audio: bytes
    image: bytes


def asked(**what: object) -> bytes:
    """The line that is put before a file."""
    return json.dumps(what).encode() + b"\n"


def packed(told: dict[str, Any], files: Sequence[bytes]) -> bytes:
    """An answer: what is told, and the files in the order in which `made` has them."""
    told = told | {"sizes": [len(file) for file in files]}
    return b"\n".join((json.dumps(told).encode(), b"".join(files)))


def made(answer: bytes) -> Made:
    """What `sound_work.picture` answered."""
    told, (image, waveform, seekable) = _unpacked(answer)
    return Made(**told, image=image, waveform=waveform, seekable=seekable)


def made_reference(answer: bytes) -> MadeReference:
    """What `sound_work.reference` answered."""
    told, (audio, image) = _unpacked(answer)
    return MadeReference(**told, audio=audio, image=image)


def _unpacked(answer: bytes) -> tuple[dict[str, Any], list[bytes]]:
    line, _, rest = answer.partition(b"\n")
    told = json.loads(line)
    ends = list(accumulate(told.pop("sizes"), initial=0))
    return told, [rest[first:last] for first, last in pairwise(ends)]
