"""The workbook and the CSV files as LibreOffice opens them, against what was published.

LibreOffice Calc is the second program that reads them; its version stands in every message. The
workbook must hold what the CSV files hold, cell by cell and with types, and hostile texts must
stay texts in both (CWE-1236, Improper Neutralization of Formula Elements in a CSV File).
"""

import datetime as dt
import zipfile
from dataclasses import replace
from pathlib import Path

import pytest
from openpyxl import load_workbook

from surveys.publishing.formats import xlsx
from surveys.publishing.formats.yearly_csv import (
    guard,
    unguard,
)
from surveys.publishing.frozen import (
    Frozen,
    Value,
)
from surveys.publishing.tables import (
    TABLE,
    TABLES,
)
from tests.support import libreoffice
from tests.support.frozen_rows import (
    HOSTILE,
    freeze_rows,
    frozen_by_hand,
)
from tests.support.libreoffice import SheetCell

Sheets = dict[str, list[list[SheetCell]]]
WITH_TEXTS = ("routes", "stops", "visits", "checklist", "protocols", "trends")
RICH = next(text for text in HOSTILE if text.startswith("<r>"))
SHEETS = ["About", "Dictionary", *(table.name for table in TABLES)]
TYPES = {
    "string": "string",
    "integer": "float",
    "number": "float",
    "boolean": "boolean",
    "date": "date",
    "datetime": "date",
}


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    libreoffice.require_libreoffice()
    return tmp_path_factory.mktemp("workbook")


@pytest.fixture(scope="module")
def frozen(folder: Path) -> Frozen:
    return frozen_by_hand(folder / "frozen")


@pytest.fixture(scope="module")
def workbook(frozen: Frozen, folder: Path) -> Path:
    xlsx.write(frozen, folder / "tables.xlsx")
    return folder / "tables.xlsx"


@pytest.fixture(scope="module")
def split(frozen: Frozen, folder: Path) -> Path:
    """The same tables, as if a sheet held twenty rows."""
    xlsx.write(frozen, folder / "split.xlsx", most_rows=20)
    return folder / "split.xlsx"


@pytest.fixture(scope="module")
def opened(workbook: Path, split: Path, folder: Path) -> Path:
    libreoffice.convert((workbook, split), "fods", folder / "opened")
    return folder / "opened"


@pytest.fixture(scope="module")
def sheets(opened: Path) -> Sheets:
    return libreoffice.sheets(opened / "tables.fods")


@pytest.fixture(scope="module")
def opened_csv(frozen: Frozen, folder: Path) -> Path:
    """The CSV files as the program takes them when it may guess the type of each cell, as it does
    for whoever just opens one; and one that nobody guarded, to know that it would be seen."""
    (folder / "unguarded.csv").write_text("name\n=1+1\n", "utf-8")
    sources = (folder / "unguarded.csv", *(frozen.folder / TABLE[name].file for name in WITH_TEXTS))
    libreoffice.convert(sources, "fods", folder / "csv", read_as=libreoffice.READ_CSV)
    return folder / "csv"


def _shown(value: Value) -> Value:
    """A value as LibreOffice writes it into an OpenDocument file: numbers with 15 significant
    digits, dates in ISO 8601, and every line break as one paragraph."""
    if isinstance(value, float):
        return float(f"{value:.15g}")
    if isinstance(value, dt.datetime):
        return value.astimezone(dt.UTC).replace(tzinfo=None).isoformat()
    if isinstance(value, dt.date):
        return value.isoformat()
    if isinstance(value, str):
        return value.replace("\r\n", "\n").replace("\r", "\n")
    return value


def test_every_table_has_its_sheet(sheets: Sheets) -> None:
    assert list(sheets) == SHEETS, libreoffice.version()


@pytest.mark.parametrize("name", [table.name for table in TABLES])
def test_a_sheet_equals_its_csv_cell_by_cell(name: str, sheets: Sheets, frozen: Frozen) -> None:
    table = TABLE[name]
    header, *rows = sheets[name]
    assert [cell.value for cell in header] == list(table.header), libreoffice.version()
    expected = list(frozen.rows(name))
    assert len(rows) == len(expected), libreoffice.version()
    for row, values in zip(rows, expected, strict=True):
        cells = [*row, *[SheetCell(type="", value=None, formula=None)] * (len(values) - len(row))]
        for cell, value, column in zip(cells, values, table.columns, strict=True):
            where = f"{name}.{column.name} in {libreoffice.version()}"
            assert cell.formula is None, where
            assert cell.type == ("" if value is None else TYPES[column.type]), where
            assert _shown(cell.value) == _shown(value), where


def test_nothing_in_the_workbook_is_a_formula_or_a_link(frozen: Frozen, folder: Path) -> None:
    """Not even when what is said of the publication is hostile.

    ECMA-376 part 1 (from memory): a formula is an element f (18.3.1.40), a link an element
    hyperlink (18.3.1.47); part 2: what lies outside has a relationship of mode External (9.3).
    """
    about = replace(frozen.about, reason=RICH, program=RICH, title="=1+1", url="http://a.example")
    xlsx.write(replace(frozen, about=about), folder / "hostile.xlsx")
    with zipfile.ZipFile(folder / "hostile.xlsx") as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    for name, content in parts.items():
        assert b"<f>" not in content, name
        assert b"<f " not in content, name
        assert b"<hyperlink" not in content, name
        assert b"External" not in content, name


def test_saved_as_csv_the_sheets_hold_the_same_texts(
    workbook: Path, frozen: Frozen, folder: Path
) -> None:
    """The way back: what LibreOffice saves of a sheet is read by Python."""
    libreoffice.convert([workbook], libreoffice.EVERY_SHEET, folder / "saved")
    text = (folder / "saved" / "tables-stops.csv").read_text("utf-8")
    for row in frozen.rows("stops"):
        for at in (3, 12):
            kept = str(row[at]).replace('"', '""').replace("\r\n", "\n").replace("\r", "\n")
            assert kept in text, libreoffice.version()


def test_an_unguarded_csv_would_run_something(opened_csv: Path) -> None:
    (rows,) = libreoffice.sheets(opened_csv / "unguarded.fods").values()
    assert rows[1] == [SheetCell(type="float", value=2.0, formula="of:=1+1")]


@pytest.mark.parametrize("name", WITH_TEXTS)
def test_the_csv_opened_by_double_click_runs_nothing(
    name: str, opened_csv: Path, frozen: Frozen
) -> None:
    (rows,) = libreoffice.sheets(opened_csv / f"{name}.fods").values()
    assert [cell.value for cell in rows[0]] == list(TABLE[name].header)
    for row, values in zip(rows[1:], frozen.rows(name), strict=True):
        for cell, value in zip(row, values, strict=False):
            assert cell.formula is None, libreoffice.version()
            if isinstance(value, str) and guard(value) != value:
                assert cell.type == "string", libreoffice.version()
                assert _shown(unguard(str(cell.value))) == _shown(value), libreoffice.version()


def test_hostile_texts_come_back_from_the_csv(frozen: Frozen) -> None:
    """Every text is somewhere in the tables, and reading gives it as it was written."""
    read = {
        value
        for table in TABLES
        for row in frozen.rows(table.name)
        for value in row
        if isinstance(value, str)
    }
    assert set(HOSTILE) <= read


def test_a_long_table_goes_over_several_sheets(opened: Path, frozen: Frozen) -> None:
    found = libreoffice.sheets(opened / "split.fods")
    assert [name for name in found if name.startswith("calls")] == ["calls 1", "calls 2", "calls 3"]
    parts = [found[f"calls {number}"] for number in (1, 2, 3)]
    assert [len(part) for part in parts] == [21, 21, 9]
    assert all([cell.value for cell in part[0]] == list(TABLE["calls"].header) for part in parts)
    species = [row[1].value for part in parts for row in part[1:]]
    assert species == [row[1] for row in frozen.rows("calls")]
    about = {row[0].value: str(row[1].value) for row in found["About"]}
    assert "sheet calls 2: 20 rows" in about["Call index"]
    assert "Too long for one sheet" in about["Call index"]


def test_about_and_dictionary_say_what_it_is(sheets: Sheets, frozen: Frozen) -> None:
    about = {row[0].value: row[1].value for row in sheets["About"]}
    assert about["Title"] == frozen.about.title
    assert about["Cite as"] == frozen.about.citation
    assert about["Version"] == "2 of season year 2025"
    assert "CC-BY-4.0" in about["License"]
    assert "SHA256SUMS.txt" in about["Checksums"]
    header, *rows = sheets["Dictionary"]
    assert [cell.value for cell in header] == list(xlsx.DICTIONARY)
    assert [(row[0].value, row[1].value, row[2].value) for row in rows] == [
        (table.name, column.name, column.type) for table in TABLES for column in table.columns
    ]


@pytest.mark.parametrize(
    ("text", "cut"),
    [
        ("x" * xlsx.MOST_TEXT, False),
        ("x" * (xlsx.MOST_TEXT + 1), True),
        # A character outside the basic plane counts twice.
        ("🐸" * (xlsx.MOST_TEXT // 2), False),
        ("🐸" * (xlsx.MOST_TEXT // 2 + 1), True),
    ],
    ids=["fits", "too long", "fits twice", "too long twice"],
)
def test_a_text_that_no_cell_can_hold_is_cut_and_said(text: str, cut: bool, tmp_path: Path) -> None:
    frozen = freeze_rows(tmp_path / "frozen", {"trends": [{"species": "S", "flags": text}]})
    xlsx.write(frozen, tmp_path / "long.xlsx")
    workbook = load_workbook(tmp_path / "long.xlsx")
    held = workbook["trends"].cell(2, TABLE["trends"].header.index("flags") + 1).value
    assert held == (text[: len(held) - 1] + "…" if cut else text)
    assert len(held.encode("utf-16-le")) <= 2 * xlsx.MOST_TEXT
    said = [row[1].value for row in workbook["About"].rows if row[0].value == "Cut"]
    assert bool(said) == cut
    assert not cut or said[0].startswith("1 text(s) longer than a cell can hold")


def test_the_same_tables_give_the_same_bytes(frozen: Frozen, workbook: Path, folder: Path) -> None:
    xlsx.write(frozen, folder / "again.xlsx")
    assert (folder / "again.xlsx").read_bytes() == workbook.read_bytes()
