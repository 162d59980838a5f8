"""The files of a publication beside its tables. Each is made from the frozen tables alone."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from surveys.models import Audience
from surveys.publishing import darwincore, datapackage, xlsx
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
        kind="tables.zip",
        meaning="All tables, what their columns mean, and the method, as a Data Package",
        media_type="application/zip",
        write=datapackage.write,
    ),
    Format(
        kind="datapackage.json",
        meaning="What the tables and their columns mean, for programs",
        media_type="application/json",
        write=datapackage.write_descriptor,
    ),
    Format(
        kind="tables.xlsx",
        meaning="All tables and what their columns mean, as a workbook",
        media_type="application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
        write=xlsx.write,
    ),
    Format(
        kind="darwin-core.zip",
        meaning="Events, occurrences and measurements as a Darwin Core Archive",
        media_type="application/zip",
        write=darwincore.write,
    ),
)
