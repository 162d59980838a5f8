"""The GeoJSON against RFC 7946 (August 2016), sections as named, and against the tables."""

import json
from pathlib import Path

import pytest

from surveys.protocol.values import Place
from surveys.publishing.formats import geojson
from surveys.publishing.frozen import Frozen
from surveys.publishing.tables import TABLE
from tests.support.frozen_rows import frozen_by_hand

# Section 7.1: members of a geometry or feature that a collection must not have, and the reverse.
DEFINED = {"coordinates", "geometries", "geometry", "properties", "features"}


@pytest.fixture
def frozen(tmp_path: Path) -> Frozen:
    return frozen_by_hand(tmp_path / "frozen")


@pytest.fixture
def collection(frozen: Frozen, tmp_path: Path) -> dict:
    geojson.write(frozen, tmp_path / "places.geojson")
    return json.loads((tmp_path / "places.geojson").read_text("utf-8"))


def test_the_collection_has_the_members_of_one(collection: dict) -> None:
    """Sections 3.3 and 7.1; the coordinate reference system is WGS 84 and not named (section 4)."""
    assert collection["type"] == "FeatureCollection"
    assert set(collection) & DEFINED == {"features"}
    assert "crs" not in collection


def test_every_feature_has_the_members_of_one(collection: dict) -> None:
    """Section 3.2: type, geometry (null when unlocated), properties, and an id that is text."""
    for feature in collection["features"]:
        assert set(feature) == {"type", "id", "geometry", "properties"}
        assert feature["type"] == "Feature"
        assert isinstance(feature["id"], str)
        assert isinstance(feature["properties"], dict)
        if feature["geometry"] is not None:
            assert set(feature["geometry"]) == {"type", "coordinates"}
            assert feature["geometry"]["type"] == "Point"
    ids = [feature["id"] for feature in collection["features"]]
    assert len(ids) == len(set(ids))


def test_positions_are_those_of_the_tables(collection: dict, frozen: Frozen) -> None:
    """Section 3.1.1: longitude, then latitude. Section 11.2: no more digits than mean anything."""
    places = {
        f"{kind}:{row['key']}": row["place"]
        for kind in ("route", "stop")
        for row in _places(frozen, kind)
    }
    assert {feature["id"] for feature in collection["features"]} == set(places)
    for feature in collection["features"]:
        place = places[feature["id"]]
        if place is None:
            assert feature["geometry"] is None
            assert feature["properties"]["information_withheld"]
        else:
            found = feature["geometry"]["coordinates"]
            assert found == pytest.approx(place, abs=1e-7)
            assert all(round(number, 7) == number for number in found)
            assert feature["properties"]["data_generalizations"]
            assert feature["properties"]["coordinate_uncertainty_m"] > 0


def _places(frozen: Frozen, kind: str) -> list[dict]:
    header = TABLE[f"{kind}s"].header
    rows = [dict(zip(header, row, strict=True)) for row in frozen.rows(f"{kind}s")]
    return [
        {
            "key": row[kind],
            "place": None if row["latitude"] is None else [row["longitude"], row["latitude"]],
        }
        for row in rows
    ]


def test_the_box_holds_every_position(collection: dict) -> None:
    """Section 5: west, south, east, north."""
    west, south, east, north = collection["bbox"]
    points = [f["geometry"]["coordinates"] for f in collection["features"] if f["geometry"]]
    assert (west, east) == (min(x for x, _ in points), max(x for x, _ in points))
    assert (south, north) == (min(y for _, y in points), max(y for _, y in points))


@pytest.mark.parametrize(
    ("longitudes", "west", "east"),
    [
        ((-93.1, -93.2, -92.9), -93.2, -92.9),
        ((10.0,), 10.0, 10.0),
        # Section 5.2: the Fiji archipelago lies on both sides of the antimeridian.
        ((177.0, -178.0), 177.0, -178.0),
        ((179.9, 178.0, -179.5, -180.0), 178.0, -179.5),
        ((-170.0, 0.0, 100.0), 0.0, -170.0),
    ],
)
def test_the_box_is_the_narrowest(longitudes: tuple, west: float, east: float) -> None:
    places = [Place(latitude=float(at), longitude=x) for at, x in enumerate(longitudes)]
    assert geojson.bounding_box(places) == [west, 0.0, east, float(len(places) - 1)]


def test_where_everything_is_withheld_there_is_no_box(frozen: Frozen, tmp_path: Path) -> None:
    for name in ("routes", "stops"):
        path = frozen.folder / TABLE[name].file
        kept = [line for line in path.read_text("utf-8").splitlines() if "R01" not in line]
        path.write_text("\n".join(kept) + "\n", "utf-8")
    for name in ("periods", "calls"):
        path = frozen.folder / TABLE[name].file
        path.write_text(path.read_text("utf-8").splitlines()[0] + "\n", "utf-8")
    geojson.write(frozen, tmp_path / "withheld.geojson")
    found = json.loads((tmp_path / "withheld.geojson").read_text("utf-8"))
    assert "bbox" not in found
    assert found["features"]
    assert all(feature["geometry"] is None for feature in found["features"])


def test_routes_carry_what_was_heard_each_year(collection: dict) -> None:
    routes = [f for f in collection["features"] if f["properties"]["kind"] == "route"]
    for feature in routes:
        years = feature["properties"]["yearly"]
        assert {row["season_year"] for row in years} == {2024, 2025}
        assert all(row["stops_heard"] <= row["stops_listened"] <= 3 for row in years)
        assert all((row["highest_index"] > 0) == (row["stops_heard"] > 0) for row in years)


def test_the_same_tables_give_the_same_bytes(frozen: Frozen, tmp_path: Path) -> None:
    for name in ("first", "second"):
        geojson.write(frozen, tmp_path / name)
    assert (tmp_path / "first").read_bytes() == (tmp_path / "second").read_bytes()
