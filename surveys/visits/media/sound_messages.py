"""What the worker asks of the process that reads a recording, and what it is answered.

Before the bytes of the file stands a line of JSON, what is asked; in the answer stands one, too,
before the files that were made. Apart from `sound_work`, which imports what takes long to.
"""

import json
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

WORK = "surveys.visits.media.sound_work"


@dataclass(frozen=True, kw_only=True)
class Made:
    """`seekable` is empty where the file needs no copy."""

    seconds: float
    cut: bool
    measures: dict[str, Any]
    image: bytes
    waveform: bytes
    seekable: bytes


def asked(**what: object) -> bytes:
    """The line that is put before a file."""
    return json.dumps(what).encode() + b"\n"


def packed(told: dict[str, Any], files: Sequence[bytes]) -> bytes:
    """An answer: what is told, and the files in the order in which `made` has them."""
    told = told | {"sizes": [len(file) for file in files]}
    return b"\n".join((json.dumps(told).encode(), b"".join(files)))


def made(answer: bytes) -> Made:
    """What `sound_work.picture` answered."""
    line, _, rest = answer.partition(b"\n")
    told = json.loads(line)
    image, wave, copy = told.pop("sizes")
    return Made(
        **told,
        image=rest[:image],
        waveform=rest[image : image + wave],
        seekable=rest[image + wave : image + wave + copy],
    )
