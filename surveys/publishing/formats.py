"""The files of a publication beside its tables. Each is made from the frozen tables alone."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from surveys.models import Audience
from surveys.publishing import darwincore
from surveys.publishing.frozen import Frozen


@dataclass(frozen=True, kw_only=True)
class Format:
    """A file: `kind` is its path within the publication, `write` makes it at the path given.

    A format for those who may have exact places gets tables with exact ones.
    """

    kind: str
    meaning: str
    media_type: str
    write: Callable[[Frozen, Path], None]
    audience: Audience = Audience.OPEN


FORMATS: tuple[Format, ...] = (
    Format(
        kind="darwin-core.zip",
        meaning="Events, occurrences and measurements as a Darwin Core Archive",
        media_type="application/zip",
        write=darwincore.write,
    ),
)
