"""LibreOffice without a window, as the spreadsheet program that opens what is published."""

import itertools
import os
import shutil
import subprocess
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from xml.etree import ElementTree

import pytest

# Fields by comma, texts in double quotes, UTF-8, from line 1, no column formats, language of the
# program, no quotes around every text, values rather than how they look, no formulas, and every
# sheet into a file of its own. help.libreoffice.org, "Filter Options for CSV Filter".
EVERY_SHEET = "csv:Text - txt - csv (StarCalc):44,34,76,1,,0,false,false,false,false,false,-1"
# The same for reading: comma, double quotes, UTF-8, from line 1; nothing is said of the columns,
# so that the program takes cells for what they look like, as it does for whoever opens a file.
READ_CSV = "CSV:44,34,76,1"

_OFFICE = "{urn:oasis:names:tc:opendocument:xmlns:office:1.0}"
_TABLE = "{urn:oasis:names:tc:opendocument:xmlns:table:1.0}"
_TEXT = "{urn:oasis:names:tc:opendocument:xmlns:text:1.0}"
# How this program writes what a workbook holds as yes or no.
_YES_NO = {"of:=TRUE()": True, "of:=FALSE()": False}


@dataclass(frozen=True, kw_only=True)
class SheetCell:
    """A cell as the program understood it; `formula` None where it computes nothing."""

    type: str
    value: str | float | bool | None
    formula: str | None


def require_libreoffice() -> None:
    if shutil.which("soffice") is None:
        assert "CI" not in os.environ, "LibreOffice must be there in continuous integration"
        pytest.skip("LibreOffice (soffice) is not installed; deploy/test installs it")


@cache
def version() -> str:
    return _run("--version").strip()


def convert(sources: Iterable[Path], to: str, folder: Path, *, read_as: str | None = None) -> None:
    """Open files and save each as `to` in a folder."""
    folder.mkdir(parents=True, exist_ok=True)
    given = () if read_as is None else (f"--infilter={read_as}",)
    _run(*given, "--convert-to", to, "--outdir", str(folder), *map(str, sources))


def sheets(flat: Path) -> dict[str, list[list[SheetCell]]]:
    """The sheets of a flat OpenDocument file up to the last cell that holds something."""
    root = ElementTree.parse(flat).getroot()
    return {
        table.get(f"{_TABLE}name", ""): _trimmed(
            [_trimmed(list(_cells(row)), _empty) for row in _rows(table)], lambda row: not row
        )
        for table in root.iter(f"{_TABLE}table")
    }


def _run(*arguments: str) -> str:
    """The profile is in a folder of its own, so that nothing of the user's is used or locked."""
    profile = Path(os.environ.get("TMPDIR", "/tmp")) / f"soffice-{os.getpid()}"
    try:
        done = subprocess.run(
            ["soffice", f"-env:UserInstallation={profile.as_uri()}", "--headless", *arguments],
            capture_output=True,
            text=True,
            timeout=120,
            check=True,
        )
    finally:
        shutil.rmtree(profile, ignore_errors=True)
    return done.stdout


def _rows(table: ElementTree.Element) -> Iterator[ElementTree.Element]:
    for row in table.iter(f"{_TABLE}table-row"):
        yield from _repeated(row, "number-rows-repeated")


def _cells(row: ElementTree.Element) -> Iterator[SheetCell]:
    for cell in row:
        for once in _repeated(cell, "number-columns-repeated"):
            yield _read(once)


def _repeated(element: ElementTree.Element, times: str) -> Iterator[ElementTree.Element]:
    """More than a hundred alike are the blank rest of a sheet."""
    count = int(element.get(f"{_TABLE}{times}", "1"))
    return itertools.repeat(element, count if count <= 100 else 0)


def _read(cell: ElementTree.Element) -> SheetCell:
    formula = cell.get(f"{_TABLE}formula")
    if formula in _YES_NO:
        return SheetCell(type="boolean", value=_YES_NO[formula], formula=None)
    kind = cell.get(f"{_OFFICE}value-type", "")
    value: str | float | bool | None = None
    if kind == "string":
        value = "\n".join(map(_paragraph, cell.findall(f"{_TEXT}p")))
    elif kind == "date":
        value = cell.get(f"{_OFFICE}date-value")
    elif kind == "boolean":
        value = cell.get(f"{_OFFICE}boolean-value") == "true"
    elif kind:
        value = float(cell.get(f"{_OFFICE}value", "nan"))
    return SheetCell(type=kind, value=value, formula=formula)


def _paragraph(paragraph: ElementTree.Element) -> str:
    """Text of a paragraph; runs of spaces, tabs and line breaks are elements of their own."""
    parts = [paragraph.text or ""]
    for child in paragraph:
        if child.tag == f"{_TEXT}s":
            parts.append(" " * int(child.get(f"{_TEXT}c", "1")))
        elif child.tag == f"{_TEXT}tab":
            parts.append("\t")
        elif child.tag == f"{_TEXT}line-break":
            parts.append("\n")
        else:
            parts.append(_paragraph(child))
        parts.append(child.tail or "")
    return "".join(parts)


def _empty(cell: SheetCell) -> bool:
    return cell.type == "" and cell.formula is None


def _trimmed(items: list, unneeded) -> list:
    end = len(items)
    while end and unneeded(items[end - 1]):
        end -= 1
    return items[:end]
