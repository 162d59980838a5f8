"""Every format holds the same rows, whichever of them a reader picks."""

import json
import zipfile
from itertools import islice
from pathlib import Path

import pytest
from openpyxl import load_workbook
from pyogrio.raw import read

from surveys.models import Audience
from surveys.publishing.formats.registry import (
    FORMATS,
    Format,
)
from surveys.publishing.frozen import (
    Frozen,
    write_table,
)
from surveys.publishing.tables import (
    STOPS,
    TABLE,
    TABLES,
)
from tests.support.frozen_rows import frozen_by_hand

OF_TABLES = [made for made in FORMATS if made.kind != "report.pdf"]


@pytest.fixture
def frozen(tmp_path: Path) -> Frozen:
    return frozen_by_hand(tmp_path / "frozen")


@pytest.fixture
def made(frozen: Frozen, tmp_path: Path) -> dict[str, Path]:
    found = {}
    for one in OF_TABLES:
        found[one.kind] = tmp_path / "made" / one.kind
        found[one.kind].parent.mkdir(parents=True, exist_ok=True)
        one.write(frozen, found[one.kind])
    return found


def test_every_kind_is_there_once() -> None:
    kinds = [one.kind for one in FORMATS]
    assert len(kinds) == len(set(kinds))
    assert {one.kind for one in FORMATS if one.audience == Audience.EXACT} == {
        kind for kind in kinds if kind.startswith("exact/")
    }


def test_all_formats_have_the_same_rows(frozen: Frozen, made: dict[str, Path]) -> None:
    rows = {table.name: len(list(frozen.rows(table.name))) for table in TABLES}
    workbook = load_workbook(made["tables.xlsx"])
    assert {name: sum(1 for _ in workbook[name].rows) - 1 for name in rows} == rows
    with zipfile.ZipFile(made["tables.zip"]) as archive:
        for table in TABLES:
            assert archive.read(table.file) == (frozen.folder / table.file).read_bytes()
    assert {
        resource["name"]: resource["bytes"]
        for resource in json.loads(made["datapackage.json"].read_bytes())["resources"]
    } == {table.name: (frozen.folder / table.file).stat().st_size for table in TABLES}
    features = json.loads(made["places.geojson"].read_bytes())["features"]
    for name in ("routes", "stops"):
        assert len(read(made["places.gpkg"], layer=name)[2]) == rows[name]
        kinds = [feature["properties"]["kind"] for feature in features]
        assert kinds.count(name.removesuffix("s")) == rows[name]


def test_one_stop_is_the_same_in_all(frozen: Frozen, made: dict[str, Path]) -> None:
    row = dict(zip(STOPS.header, list(frozen.rows("stops"))[1], strict=True))
    sheet = load_workbook(made["tables.xlsx"])["stops"]
    header, _, cells = islice(sheet.iter_rows(values_only=True), 3)
    in_workbook = dict(zip(header, cells, strict=False))
    meta, _, _, fields = read(made["places.gpkg"], layer="stops")
    in_package = {name: fields[at][1] for at, name in enumerate(meta["fields"])}
    in_json = next(
        feature["properties"]
        for feature in json.loads(made["places.geojson"].read_bytes())["features"]
        if feature["id"] == f"stop:{row['stop']}"
    )
    for found in (in_workbook, in_package, in_json):
        for name in ("stop", "number", "name", "latitude", "coordinate_uncertainty_m", "fish"):
            assert found[name] == row[name], name
    assert in_workbook["active_from"].date() == row["active_from"]
    assert in_json["active_from"] == str(in_package["active_from"]) == str(row["active_from"])


def test_yearly_results_are_the_same_on_both_maps(made: dict[str, Path]) -> None:
    meta, _, _, fields = read(made["places.gpkg"], layer="route_years")
    in_package = [
        dict(zip(meta["fields"], values, strict=True)) for values in zip(*fields, strict=True)
    ]
    in_json = [
        {"route": feature["properties"]["route"], **year}
        for feature in json.loads(made["places.geojson"].read_bytes())["features"]
        if feature["properties"]["kind"] == "route"
        for year in feature["properties"]["yearly"]
    ]
    assert in_json == in_package
    assert in_json


@pytest.mark.parametrize("one", OF_TABLES, ids=lambda one: one.kind)
def test_the_same_tables_give_the_same_bytes(one: Format, frozen: Frozen, tmp_path: Path) -> None:
    """Whatever the clock says, and wherever the tables lie."""
    elsewhere = Frozen(about=frozen.about, folder=tmp_path / "elsewhere")
    for table in TABLES:
        write_table(elsewhere.folder, TABLE[table.name], frozen.rows(table.name))
    first, second = (tmp_path / f"{name}{Path(one.kind).suffix}" for name in ("first", "second"))
    one.write(frozen, first)
    one.write(elsewhere, second)
    assert first.read_bytes() == second.read_bytes()
