"""Shapefiles and GeoPackages, through GDAL, which also turns their map grids into latitude and
longitude. Runs in `surveys.bounded`."""

import io
import json
import warnings
from collections.abc import Mapping

import pyogrio
from pyogrio.raw import read, write

from surveys.bounded import RefusedError
from surveys.importing.parsed import SMALL
from surveys.importing.places.found import FOLDER, Found
from surveys.importing.places.geojson import read_geojson
from surveys.language import gettext_noop as _

MOST_LAYERS = 50
_GEOGRAPHIC = 180.0


def read_layers(content: bytes, found: Found) -> None:
    """Every layer that has places. Raises RefusedError."""
    # GDAL remarks on files without a name of their kind, among others.
    warnings.simplefilter("ignore")
    try:
        layers = [
            (number, str(name))
            for number, (name, kind) in enumerate(pyogrio.list_layers(content))
            if kind is not None
        ]
        if len(layers) > MOST_LAYERS:
            raise RefusedError(
                _("The file has more than {most} layers. Export only the routes."),
                most=MOST_LAYERS,
            )
        for layer, name in layers:
            extra = {FOLDER: name} if len(layers) > 1 else {}
            _read_layer(content, layer, extra, found)
    except (pyogrio.errors.DataSourceError, pyogrio.errors.DataLayerError, ValueError) as error:
        raise RefusedError(
            _(
                "GDAL cannot read the file ({error}). Export it again, or save the layer as "
                "GeoJSON."
            ),
            error=str(error)[:200],
        ) from None


def _read_layer(content: bytes, layer: int, extra: Mapping[str, str], found: Found) -> None:
    meta, _fids, geometry, columns = read(content, layer=layer, max_features=SMALL.rows + 1)
    if geometry is None or not len(geometry):
        return
    crs = meta["crs"]
    if crs is None:
        crs = _assumed(content, layer)
    out = io.BytesIO()
    # RFC 7946 has WGS 84 only, so GDAL transforms what is on another map grid.
    write(
        out,
        geometry,
        list(columns),
        list(meta["fields"]),
        geometry_type=meta["geometry_type"],
        crs=crs,
        driver="GeoJSON",
        layer="layer",
        RFC7946="YES",
        COORDINATE_PRECISION="8",
    )
    geojson = json.loads(out.getvalue())
    for feature in geojson["features"]:
        feature["properties"] = {**feature["properties"], **extra}
    read_geojson(geojson, found)


def _assumed(content: bytes, layer: int) -> str:
    """A layer that does not name its reference system may be in degrees; a map grid cannot be
    guessed."""
    bounds = pyogrio.read_info(content, layer=layer, force_total_bounds=True)["total_bounds"]
    if bounds is None or max(abs(float(bound)) for bound in bounds) > _GEOGRAPHIC:
        raise RefusedError(
            _(
                "Layer {number} of the file does not say its coordinate system, and is not in "
                "degrees. Add the .prj file, or export it with latitude and longitude (WGS 84)."
            ),
            number=layer + 1,
        )
    return "EPSG:4326"
