"""The files of a publication beside its tables. Each is made from the frozen tables alone."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from surveys.language import gettext_noop as _
from surveys.models import Audience
from surveys.publishing.formats import (
    darwincore,
    datapackage,
    geojson,
    geopackage,
    report,
    xlsx,
)
from surveys.publishing.formats import (
    yearly_csv as csv,
)
from surveys.publishing.frozen import Frozen
from surveys.publishing.tables import STOPS


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


def _copy_stops(frozen: Frozen, target: Path) -> None:
    shutil.copyfile(frozen.folder / STOPS.file, target)


FORMATS: tuple[Format, ...] = (
    Format(
        kind="report.pdf",
        meaning=_("A report to read: summary, map, a page for each species, method and cautions"),
        media_type="application/pdf",
        write=report.write,
    ),
    Format(
        kind="tables.zip",
        meaning=_("All tables, what their columns mean, and the method, as a Data Package"),
        media_type="application/zip",
        write=datapackage.write,
    ),
    Format(
        kind="datapackage.json",
        meaning=_("What the tables and their columns mean, for software"),
        media_type="application/json",
        write=datapackage.write_descriptor,
    ),
    Format(
        kind="tables.xlsx",
        meaning=_("All tables and what their columns mean, as a workbook"),
        media_type="application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
        write=xlsx.write,
    ),
    Format(
        kind="places.gpkg",
        meaning=_("Routes, stops and yearly results as a GeoPackage, for maps"),
        media_type=geopackage.MEDIA_TYPE,
        write=geopackage.write,
    ),
    Format(
        kind="places.geojson",
        meaning=_("Routes, stops and yearly results as GeoJSON, for maps on the web"),
        media_type=geojson.MEDIA_TYPE,
        write=geojson.write,
    ),
    Format(
        kind="darwin-core.zip",
        meaning=_("Events, occurrences and measurements as a Darwin Core Archive"),
        media_type="application/zip",
        write=darwincore.write,
    ),
    Format(
        kind="exact/stops.csv",
        meaning=_("Stops with exact locations"),
        media_type=csv.MEDIA_TYPE,
        write=_copy_stops,
        audience=Audience.EXACT,
    ),
    Format(
        kind="exact/places.gpkg",
        meaning=_("Routes, stops and yearly results with exact locations as a GeoPackage"),
        media_type=geopackage.MEDIA_TYPE,
        write=geopackage.write,
        audience=Audience.EXACT,
    ),
    Format(
        kind="exact/places.geojson",
        meaning=_("Routes, stops and yearly results with exact locations as GeoJSON"),
        media_type=geojson.MEDIA_TYPE,
        write=geojson.write,
        audience=Audience.EXACT,
    ),
)
