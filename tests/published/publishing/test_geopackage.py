"""The GeoPackage as other programs open it, and against the standard.

OGC 12-128r17 (GeoPackage 1.3), clauses as named. Opened by pyogrio and, through a second and
older GDAL, by ogrinfo.
"""

import datetime as dt
import sqlite3
import subprocess
import time
from collections import defaultdict
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from pathlib import Path

import pytest
from pyogrio.raw import read
from pyogrio.raw import write as write_layer

from surveys.publishing.formats import geopackage
from surveys.publishing.formats.layers import (
    ROUTE_COLUMNS,
    YEAR_COLUMNS,
)
from surveys.publishing.frozen import (
    Frozen,
    Value,
)
from surveys.publishing.tables import (
    STOPS,
    TABLE,
)
from tests.support.frozen_rows import frozen_by_hand

LAYERS = {"routes": ROUTE_COLUMNS, "stops": STOPS.columns, "route_years": YEAR_COLUMNS}


@pytest.fixture(scope="module")
def frozen(tmp_path_factory: pytest.TempPathFactory) -> Frozen:
    return frozen_by_hand(tmp_path_factory.mktemp("frozen"))


@pytest.fixture(scope="module")
def package(frozen: Frozen, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("places") / "places.gpkg"
    geopackage.write(frozen, path)
    return path


@pytest.fixture(scope="module")
def database(package: Path) -> sqlite3.Connection:
    return sqlite3.connect(package.as_uri() + "?mode=ro", uri=True)


def _rows(frozen: Frozen, table: str) -> list[dict[str, Value]]:
    return [dict(zip(TABLE[table].header, row, strict=True)) for row in frozen.rows(table)]


def _layer(path: Path, name: str) -> list[dict]:
    """Features by field, blanks None, with the point's well-known binary as `geometry`."""
    meta, _, geometry, fields = read(path, layer=name)
    names = meta["fields"].tolist()
    return [
        {
            "geometry": geometry[at],
            **{
                field: None if value is None or value != value else value
                for field, value in zip(names, (column[at] for column in fields), strict=True)
            },
        }
        for at in range(len(geometry))
    ]


def _point(binary: bytes | None) -> tuple[float, float] | None:
    """x and y of a point in well-known binary, little endian (OGC 06-103r4, 8.2)."""
    if binary is None:
        return None
    assert binary[:5] == b"\x01\x01\x00\x00\x00"
    x, y = memoryview(binary[5:]).cast("d")
    return x, y


@pytest.mark.parametrize("table", ["routes", "stops"])
def test_places_and_fields_are_those_of_the_tables(
    table: str, package: Path, frozen: Frozen
) -> None:
    features, rows = _layer(package, table), _rows(frozen, table)
    assert len(features) == len(rows)
    for feature, row in zip(features, rows, strict=True):
        expected = None if row["latitude"] is None else (row["longitude"], row["latitude"])
        assert _point(feature["geometry"]) == expected
        for name, value in row.items():
            found = feature[name]
            assert found == value or str(found) == str(value), name


def test_withheld_places_have_no_point_and_say_so(package: Path) -> None:
    for feature in [*_layer(package, "stops"), *_layer(package, "routes")]:
        withheld = feature["route"] == "R02"
        assert (feature["geometry"] is None) == withheld
        assert (feature["information_withheld"] is not None) == withheld
        assert (feature["data_generalizations"] is None) == withheld
        assert (feature["coordinate_uncertainty_m"] is None) == withheld


def test_the_radius_of_a_route_takes_in_its_stops(package: Path) -> None:
    """The farthest stop is 0.02° south or north and 0.02° east or west of the middle: 2.2 km and
    1.6 km at 44.5° (111.1 km and 79.4 km a degree, WGS 84 ellipsoid, from memory)."""
    route = next(row for row in _layer(package, "routes") if row["route"] == "R01")
    assert route["coordinate_uncertainty_m"] == pytest.approx(
        (2.222**2 + 1.588**2) ** 0.5 * 1000 + 724.3, rel=0.007
    )


def test_yearly_results_follow_from_the_calls(package: Path, frozen: Frozen) -> None:
    """Worked out once more, in the plainest way."""
    visits = {row["visit"]: row for row in _rows(frozen, "visits")}
    periods = {row["period"]: row for row in _rows(frozen, "periods")}
    indices: dict[tuple, dict[Value, list[int]]] = defaultdict(lambda: defaultdict(list))
    for call in _rows(frozen, "calls"):
        period = periods[call["period"]]
        visit = visits[period["visit"]]
        if call["call_index"] is not None:
            key = visit["route"], call["species"], visit["season_year"]
            indices[key][period["stop"]].append(call["call_index"])
    expected = {
        key: (
            len(stops),
            sum(max(own) > 0 for own in stops.values()),
            max(max(own) for own in stops.values()),
        )
        for key, stops in indices.items()
    }
    assert len(set(expected.values())) > 3, "the example tells results apart"
    found = {
        (row["route"], row["species"], row["season_year"]): (
            row["stops_listened"],
            row["stops_heard"],
            row["highest_index"],
        )
        for row in _layer(package, "route_years")
    }
    assert found == expected


def test_ogrinfo_opens_every_layer(package: Path, frozen: Frozen) -> None:
    version = subprocess.run(["ogrinfo", "--version"], capture_output=True, text=True, check=True)
    done = subprocess.run(
        ["ogrinfo", "-so", "-al", package], capture_output=True, text=True, check=True
    )
    assert done.stderr == "", version.stdout
    for name, columns in LAYERS.items():
        about = done.stdout.split(f"Layer name: {name}\n")[1].split("Layer name:")[0]
        assert f"Feature Count: {len(_layer(package, name))}\n" in about, version.stdout
        assert "Geometry: Point\n" in about
        assert 'ID["EPSG",4326]' in about
        for column in columns:
            assert f"\n{column.name}: " in about
    assert "night: " not in done.stdout
    assert "active_from: Date" in done.stdout
    assert "number: Integer64" in done.stdout


def test_the_file_says_that_it_is_a_geopackage(package: Path, database) -> None:
    """Clause 1.1.1: the header string of SQLite 3 (requirement 1), "GPKG" as application id and
    the version as user version (requirement 2), the extension .gpkg (3), and a sound file (6)."""
    assert package.read_bytes()[:16] == b"SQLite format 3\x00"
    assert database.execute("PRAGMA application_id").fetchone() == (0x47504B47,)
    assert database.execute("PRAGMA user_version").fetchone() == (10300,)
    assert package.suffix == ".gpkg"
    assert database.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    assert database.execute("PRAGMA foreign_key_check").fetchall() == []


def test_the_required_tables_hold_what_they_must(database) -> None:
    """Clauses 1.1.2 (reference systems: WGS 84 and the two undefined ones), 1.1.3 (contents) and
    2.1.5 (one geometry column a layer)."""
    systems = database.execute("SELECT srs_id FROM gpkg_spatial_ref_sys").fetchall()
    assert {(4326,), (-1,), (0,)} <= set(systems)
    contents = database.execute("SELECT table_name, data_type, srs_id FROM gpkg_contents")
    assert contents.fetchall() == [(name, "features", 4326) for name in LAYERS]
    geometries = database.execute(
        "SELECT table_name, geometry_type_name, srs_id, z, m FROM gpkg_geometry_columns"
    )
    assert geometries.fetchall() == [(name, "POINT", 4326, 0, 0) for name in LAYERS]


def test_the_last_change_is_the_publication(database) -> None:
    """Clause 1.1.3, table gpkg_contents: last_change in ISO 8601, UTC."""
    changes = database.execute("SELECT DISTINCT last_change FROM gpkg_contents").fetchall()
    assert changes == [("2025-09-03T14:05:06.000Z",)]


def test_the_same_tables_give_the_same_bytes(frozen: Frozen, package: Path, tmp_path: Path) -> None:
    geopackage.write(frozen, tmp_path / "again.gpkg")
    assert (tmp_path / "again.gpkg").read_bytes() == package.read_bytes()


def test_two_at_once_keep_their_own_dates(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The date is a setting of the whole process; each file must bear that of its publication."""

    def slowly(*given, **options) -> None:
        time.sleep(0.02)
        write_layer(*given, **options)

    monkeypatch.setattr(geopackage, "write_layer", slowly)
    years = (2021, 2025)

    def written(year: int) -> set[str]:
        at = dt.datetime(year, 9, 3, 14, 5, 6, tzinfo=dt.UTC)
        path = tmp_path / f"{year}.gpkg"
        geopackage.write(frozen_by_hand(tmp_path / str(year), published_at=at), path)
        with closing(sqlite3.connect(path)) as opened:
            return {row[0][:4] for row in opened.execute("SELECT last_change FROM gpkg_contents")}

    with ThreadPoolExecutor(len(years)) as pool:
        assert list(pool.map(written, years)) == [{str(year)} for year in years]
