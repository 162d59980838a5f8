"""A PMTiles file as an operator may put beside the server, written by GDAL."""

from pathlib import Path

import numpy as np
from django.contrib.gis.geos import LineString
from pmtiles.reader import MmapSource, Reader, all_tiles
from pmtiles.tile import zxy_to_tileid
from pmtiles.writer import Writer
from pyogrio.raw import write

from surveys.models import Route

ATTRIBUTION = "<b>Roads of a test</b>"


def write_roads(target: Path, route: Route, *, layer: str = "roads") -> Path:
    """One road through the stops of the route, 0.2 degrees longer at both ends."""
    points = [stop.place.coords for stop in route.stops.order_by("number")]
    (first_x, first_y), (last_x, last_y) = points[0], points[-1]
    line = LineString((first_x - 0.2, first_y), *points, (last_x + 0.2, last_y))
    write(
        target,
        np.array([bytes(line.wkb)], dtype=object),
        [np.array(["major_road"], dtype=object), np.array(["Ferry Road"], dtype=object)],
        ["kind", "name"],
        layer=layer,
        driver="PMTiles",
        geometry_type="LineString",
        crs="EPSG:4326",
        dataset_options={"MINZOOM": "5", "MAXZOOM": "12"},
        layer_options={"MINZOOM": "5", "MAXZOOM": "12"},
    )
    # GDAL writes no attribution.
    with target.open("rb") as made, (target.with_suffix(".out")).open("wb") as file:
        source = MmapSource(made)
        archive = Writer(file)
        for place, tile in all_tiles(source):
            archive.write_tile(zxy_to_tileid(*place), tile)
        made_metadata = Reader(source).metadata()
        archive.finalize(Reader(source).header(), {**made_metadata, "attribution": ATTRIBUTION})
    return target.with_suffix(".out").rename(target)
