"""The Data Package against frictionless (the reference implementation) and the standard's terms.

Data Package 2.0: datapackage.org/standard/data-package, /data-resource, /table-schema and
/table-dialect (26 June 2024).
"""

import csv
import json
import os
import zipfile
from pathlib import Path

import pytest

from surveys.publishing.formats import datapackage
from surveys.publishing.formats.yearly_csv import unguard
from surveys.publishing.frozen import Frozen
from surveys.publishing.tables import (
    TABLE,
    TABLES,
)
from tests.support.datapackages import validate
from tests.support.frozen_rows import (
    HOSTILE,
    frozen_by_hand,
)

# Section "Properties" of each of the four pages. A field may have other properties too; `unit`
# is the one that the tables add.
PACKAGE = {
    "resources", "$schema", "name", "id", "licenses", "title", "description", "homepage", "image",
    "version", "created", "keywords", "contributors", "sources",
}  # fmt: skip
CONTRIBUTOR = {"title", "givenName", "familyName", "path", "email", "roles", "organization"}
SOURCE = {"title", "path", "email", "version"}
LICENSE = {"name", "path", "title"}
RESOURCE = {
    "name", "path", "data", "type", "$schema", "title", "description", "format", "mediatype",
    "encoding", "bytes", "hash", "sources", "licenses", "dialect", "schema",
}  # fmt: skip
DIALECT = {
    "$schema", "header", "headerRows", "headerJoin", "commentRows", "commentChar", "delimiter",
    "lineTerminator", "quoteChar", "doubleQuote", "escapeChar", "nullSequence", "skipInitialSpace",
}  # fmt: skip
SCHEMA = {
    "fields", "$schema", "fieldsMatch", "missingValues", "primaryKey", "uniqueKeys", "foreignKeys",
}  # fmt: skip
FIELD = {
    "name", "type", "format", "title", "description", "example", "constraints", "categories",
    "categoriesOrdered", "missingValues", "rdfType",
}  # fmt: skip
CONSTRAINTS = {
    "required", "unique", "minLength", "maxLength", "minimum", "maximum", "exclusiveMinimum",
    "exclusiveMaximum", "jsonSchema", "pattern", "enum",
}  # fmt: skip


@pytest.fixture
def frozen(tmp_path: Path) -> Frozen:
    return frozen_by_hand(tmp_path / "frozen")


@pytest.fixture
def unpacked(frozen: Frozen, tmp_path: Path) -> Path:
    datapackage.write(frozen, tmp_path / "tables.zip")
    with zipfile.ZipFile(tmp_path / "tables.zip") as archive:
        archive.extractall(tmp_path / "unpacked")
    return tmp_path / "unpacked"


def test_every_row_of_every_table_is_valid(frozen: Frozen, unpacked: Path) -> None:
    report = validate(unpacked / "datapackage.json")
    assert report.flatten(["title", "type", "message"]) == []
    rows = {task.name: task.stats.get("rows", 0) for task in report.tasks}
    assert rows == {table.name: len(list(frozen.rows(table.name))) for table in TABLES}


def _cell(table: str, column: str, text: str, row: int = 1):
    def change(rows: list[list[str]]) -> None:
        rows[row][TABLE[table].header.index(column)] = text

    return table, change


@pytest.mark.parametrize(
    ("change", "error"),
    [
        (_cell("calls", "call_index", "4"), "constraint-error"),
        (_cell("calls", "call_index", "loud"), "type-error"),
        (_cell("periods", "water_tonight", "wet"), "constraint-error"),
        (_cell("stops", "latitude", "90.5"), "constraint-error"),
        (_cell("visits", "night", "10/04/2024"), "type-error"),
        (_cell("routes", "protocol", ""), "constraint-error"),
        (_cell("stops", "stop", "R01-2"), "primary-key"),
        (_cell("stops", "route", "R99"), "foreign-key"),
        (_cell("calls", "period", "00000000-0000-0000-0000-000000000000"), "foreign-key"),
        (("calls", lambda rows: rows[0].reverse()), "incorrect-label"),
        (("calls", lambda rows: rows[1].append("")), "extra-cell"),
    ],
)
def test_a_broken_table_is_noticed(change, error: str, unpacked: Path) -> None:
    """The descriptor's constraints are there to be used: each of them catches its fault."""
    table, rewrite = change
    path = unpacked / TABLE[table].file
    with path.open(newline="", encoding="utf-8") as file:
        rows = list(csv.reader(file))
    rewrite(rows)
    with path.open("w", newline="", encoding="utf-8") as file:
        csv.writer(file).writerows(rows)
    report = validate(unpacked / "datapackage.json")
    assert [error] in report.flatten(["type"])


def test_one_changed_byte_is_noticed(unpacked: Path) -> None:
    """A value that every constraint allows, but that was not published."""
    path = unpacked / "data/calls.csv"
    path.write_bytes(path.read_bytes().replace(b",3,", b",2,", 1))
    found = validate(unpacked / "datapackage.json").flatten(["type"])
    assert found == [["hash-count"]]


def test_only_properties_of_the_standard_are_used(unpacked: Path) -> None:
    package = json.loads((unpacked / "datapackage.json").read_text("utf-8"))
    assert package["$schema"] == "https://datapackage.org/profiles/2.0/datapackage.json"
    assert set(package) <= PACKAGE
    assert {"resources", "name", "id", "licenses"} <= set(package), "MUST and SHOULD, Properties"
    assert all(set(item) <= CONTRIBUTOR for item in package["contributors"])
    assert all(set(item) <= SOURCE for item in package["sources"])
    assert all(set(item) <= LICENSE for item in package["licenses"])
    for resource in package["resources"]:
        assert set(resource) <= RESOURCE
        assert resource["type"] == "table"
        assert set(resource["dialect"]) <= DIALECT
        assert set(resource["schema"]) <= SCHEMA
        assert resource["schema"]["missingValues"] == [""]
        for field in resource["schema"]["fields"]:
            assert set(field) - {"unit"} <= FIELD
            assert set(field.get("constraints", {})) <= CONSTRAINTS


def test_units_limits_and_keys_are_those_of_the_tables(unpacked: Path) -> None:
    package = json.loads((unpacked / "datapackage.json").read_text("utf-8"))
    for table, resource in zip(TABLES, package["resources"], strict=True):
        assert (resource["name"], resource["path"]) == (table.name, table.file)
        assert resource["schema"]["primaryKey"] == list(table.key)
        for column, field in zip(table.columns, resource["schema"]["fields"], strict=True):
            assert field.get("unit", "") == column.unit
            limits = field.get("constraints", {})
            assert limits.get("minimum") == column.minimum
            assert limits.get("maximum") == column.maximum
            assert limits.get("required", False) == column.required
            assert tuple(limits.get("enum", ())) == column.choices


def test_hostile_texts_are_guarded_and_come_back(unpacked: Path) -> None:
    path = unpacked / "data/stops.csv"
    with path.open(newline="", encoding="utf-8") as file:
        _, *rows = csv.reader(file)
    name, habitat = (TABLE["stops"].header.index(column) for column in ("name", "habitat"))
    cells = [cell for row in rows for cell in (row[name], row[habitat])]
    assert not any(cell.startswith(("=", "+", "-", "@", "\t", "\r", "\n")) for cell in cells)
    assert [unguard(cell) for cell in cells] == [*HOSTILE[1:13]]


def test_the_same_tables_give_the_same_bytes(frozen: Frozen, tmp_path: Path) -> None:
    first, second = tmp_path / "first.zip", tmp_path / "second.zip"
    datapackage.write(frozen, first)
    for table in TABLES:
        os.utime(frozen.folder / table.file, (0, 2_000_000_000))
    datapackage.write(frozen, second)
    assert first.read_bytes() == second.read_bytes()


def test_the_descriptor_alone_is_the_one_in_the_archive(
    frozen: Frozen, unpacked: Path, tmp_path: Path
) -> None:
    datapackage.write_descriptor(frozen, tmp_path / "alone.json")
    assert (tmp_path / "alone.json").read_bytes() == (unpacked / "datapackage.json").read_bytes()
