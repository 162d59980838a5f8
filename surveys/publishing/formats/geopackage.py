"""Places and yearly results as a GeoPackage (OGC 12-128), for mapping software."""

import datetime as dt
import struct
import threading
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

import numpy as np
import pyogrio
from pyogrio.raw import write as write_layer

from surveys.protocol.values import Place
from surveys.publishing.formats.layers import (
    Layer,
    layers,
)
from surveys.publishing.frozen import (
    Frozen,
    Value,
)
from surveys.publishing.tables import (
    Cells,
    CellType,
)

MEDIA_TYPE = "application/geopackage+sqlite3"
# What programs of the last years read without a warning.
_VERSION = "1.3"
# Well-known binary (OGC 06-103r4, 8.2): little endian, a point, x and y.
_POINT = struct.Struct("<BIdd")
# GDAL's settings are those of the whole process.
_DATING = threading.Lock()
# How numpy holds a type, and what stands there where a cell is blank.
_MISSING: dict[CellType, tuple[str, Value]] = {
    "string": ("object", None),
    "integer": ("int64", 0),
    "number": ("float64", np.nan),
    "boolean": ("bool", False),
    "date": ("datetime64[D]", np.datetime64("NaT", "D")),
}


def write(frozen: Frozen, target: Path) -> None:
    """`places.gpkg`: routes, stops, and what was heard on each route in each season year."""
    target.unlink(missing_ok=True)
    with _as_of(frozen.about.published_at):
        for layer in layers(frozen):
            columns = [_column(layer, column) for column in layer.columns]
            write_layer(
                target,
                _points(layer.places),
                [values for values, _ in columns],
                [column.name for column in layer.columns],
                field_mask=[blank for _, blank in columns],
                layer=layer.name,
                driver="GPKG",
                geometry_type="Point",
                crs="EPSG:4326",
                dataset_options={"VERSION": _VERSION},
                layer_options={"IDENTIFIER": layer.title, "DESCRIPTION": frozen.about.citation},
            )


@contextmanager
def _as_of(moment: dt.datetime) -> Iterator[None]:
    """GDAL notes the time of the last change; it is that of the publication, so that the same
    tables give the same bytes. One file at a time, whatever else this process publishes."""
    text = moment.astimezone(dt.UTC).strftime("%Y-%m-%dT%H:%M:%S.000Z")
    with _DATING:
        pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": text})
        try:
            yield
        finally:
            pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": None})


def _points(places: Sequence[Place | None]) -> np.ndarray:
    points = np.empty(len(places), dtype=object)
    for at, place in enumerate(places):
        if place is not None:
            points[at] = _POINT.pack(1, 1, place.longitude, place.latitude)
    return points


def _column(layer: Layer, column: Cells) -> tuple[np.ndarray, np.ndarray]:
    """Values of a column, and which of them are blank."""
    kind, missing = _MISSING[column.type]
    values = [row[column.name] for row in layer.rows]
    blank = np.array([value is None for value in values], dtype=bool)
    return np.array([missing if v is None else v for v in values], dtype=kind), blank
