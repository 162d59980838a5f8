"""Bytes to texts: encodings, delimiters, workbooks, hostile files."""

import datetime as dt
import io
import json
import zipfile

import pytest

from surveys import bounded
from surveys.importing import reading
from surveys.importing.layout import Layout
from surveys.importing.parsed import ARCHIVE, SMALL
from surveys.importing.problems import UnreadableFileError
from surveys.importing.reading import read_table
from tests.support.spreadsheets import read_here, workbook
from tests.unit.importing.hostile_files import QUICK, SLOW


@pytest.mark.parametrize(
    "encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "cp1252"]
)
def test_encodings(encoding):
    table = read_table("Route,Note\nR1,Étang près du chêne\n".encode(encoding))
    assert table.headers == ("Route", "Note")
    assert table.rows[0].texts == ("R1", "Étang près du chêne")


def test_windows_text_is_said():
    assert "UTF-8" in read_table("A,B\né,1\n".encode("cp1252")).notices[0]


@pytest.mark.parametrize("delimiter", [",", ";", "\t", "|"])
@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_delimiters_and_line_ends(delimiter, end):
    lines = [["Route", "Temp", "Note"], ["R1", "12.5", 'quiet, "still"; calm']]
    text = end.join(
        delimiter.join(f'"{cell.replace(chr(34), chr(34) * 2)}"' for cell in line) for line in lines
    )
    table = read_here(text.encode())
    assert table.rows[0].texts == ("R1", "12.5", 'quiet, "still"; calm')


def test_decimal_commas_in_a_semicolon_file():
    table = read_table(b"Route;Temp;Wind\nR1;12,5;1,5\nR2;11,5;2\n")
    assert table.headers == ("Route", "Temp", "Wind")
    assert table.rows[0].texts == ("R1", "12,5", "1,5")


def test_rows_keep_their_number_in_the_file():
    table = read_table(b"\n\nRoute,Stop\n\nR1,1\n,\nR1,2\n")
    assert [row.number for row in table.rows] == [5, 7]


def test_short_rows_are_filled_and_headers_named_apart():
    table = read_table(b"Route,,Temp,Temp\nR1\n")
    assert table.headers == ("Route", "column 2", "Temp", "Temp (2)")
    assert table.rows[0].texts == ("R1", "", "", "")


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (dt.date(2024, 4, 15), "2024-04-15"),
        (dt.datetime(2024, 4, 15), "2024-04-15"),
        (dt.datetime(2024, 4, 15, 21, 14), "2024-04-15 21:14"),
        (dt.time(21, 14), "21:14"),
        (dt.time(0, 5, 30), "00:05:30"),
        (3, "3"),
        (3.0, "3"),
        (12.5, "12.5"),
        (0.1 + 0.2, "0.3"),
        (12.600000000000001, "12.6"),
        (1200.0, "1200"),
        (1e-7, "0.0000001"),
        (True, "yes"),
        (None, ""),
        ("  R1 ", "R1"),
        ("=1+1", ""),
    ],
)
def test_workbook_cells(value, text):
    """A formula that was never computed has no value."""
    table = read_here(workbook([["Route", "Value"], ["R1", value]]))
    assert table.rows[0].texts == ("R1", text)


_NOTES = [["Calls"], ["From paper"], ["Ask first"], ["Year", "Pages"], [2009, 31], [2010, 28]]


@pytest.mark.parametrize("first", [[], [["Typed by hand in 2016"]], _NOTES])
def test_the_first_sheet_with_rows_is_taken_and_said(first):
    table = read_table(workbook(first, [["Route"], ["R1"]], [["Other"], ["x"]]))
    assert table.headers == ("Route",)
    assert "Sheet 2" in table.notices[0]
    assert "Sheet 3" in table.notices[0]


_LINES_OF_NOTES = [["Typed from the binders."], ["A blank: nobody noted it."]]
_LEGEND = [["Code", "Species"], ["SP", "Spring peeper"], ["WF", "Wood frog"]]


@pytest.mark.parametrize("first", [_LINES_OF_NOTES, _LEGEND])
def test_a_sheet_too_narrow_for_visits_gives_way_unless_it_is_chosen(first):
    content = workbook(first, [["Route", "Date", "Stop"], ["R1", "2012-04-15", 1]])
    table = read_table(content)
    assert table.headers == ("Route", "Date", "Stop")
    assert table.sheets == ("Sheet 2", "Sheet 1")
    assert read_table(content, Layout(sheet="Sheet 1")).headers == tuple(first[0])


def test_where_no_sheet_is_a_table_the_first_one_says_why():
    with pytest.raises(UnreadableFileError, match="Row 4 has more cells"):
        read_table(workbook(_NOTES, [["Also typed"]], _NOTES))


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "empty"),
        (b"  \n ", "empty"),
        (b"Route,Stop\n", "nothing to import"),
        (b"\xd0\xcf\x11\xe0" + b"\0" * 600, r"\.xls"),
        (b"PK\x03\x04 not a zip", "not a workbook"),
        (b"\x81\x8d\x8f\x90\x9d", "cannot be read"),
        (b"Route,Stop\nR1,1,2\n", "Row 2 has more cells"),
        (b"Route\n" + b"x" * 3000, "2000"),
        (b"Route\n" + b"R1\n" * (SMALL.rows + 1), "10,?000 rows. Split the file"),
        (b"a" * (11 * 1024 * 1024), "11 MB"),
        ((",".join(f"c{n}" for n in range(300)) + "\n" + "1\n").encode(), "200 columns"),
        (b'"' + b"x" * 200_000 + b'"\n1\n', "Row 1 could not be read as CSV"),
    ],
)
def test_unreadable_files_say_why(content, words):
    with pytest.raises(UnreadableFileError, match=words):
        read_table(content)


def test_an_archive_comes_line_by_line_whatever_kind_of_file_it_is():
    rows = [["Route", "Note"], *([f"R{n}", "Étang"] for n in range(SMALL.rows + 1))]
    text = "\n".join(map(",".join, rows)).encode()
    read = [list(reading.archive_lines(c, Layout())) for c in (text, workbook(rows))]
    for head, *lines in read:
        assert json.loads(head)["headers"] == ["Route", "Note"]
        assert [json.loads(line) for line in lines[:2]] == [
            [2, ["R0", "Étang"]],
            [3, ["R1", "Étang"]],
        ]
        assert len(lines) == SMALL.rows + 1


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"Route\n" + b"R1\n" * (ARCHIVE.rows + 1), "250,?000 rows. Split the file"),
        # Found after many rows were read.
        (b"Route\n" + b"R1\n" * 5_000 + b"R1,x\n", "Row 5002 has more cells"),
        (b"a" * (51 * 1024 * 1024), "51 MB; the limit is 50 MB"),
    ],
)
def test_an_archive_that_is_too_much_or_broken_gives_no_line(content, words):
    lines = reading.archive_lines(content, Layout())
    with pytest.raises(UnreadableFileError, match=words):
        next(lines)


def test_a_zip_that_is_no_workbook():
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        archive.writestr("readme.txt", "hello")
    with pytest.raises(UnreadableFileError, match="not a workbook"):
        read_table(out.getvalue())


def refused(content: bytes, words: str) -> None:
    """Refused in words, or read as what it holds."""
    if not words:
        assert read_table(content).rows
        return
    with pytest.raises(UnreadableFileError, match=words) as caught:
        read_table(content)
    assert str(caught.value)[-1] == ".", "a sentence"


@pytest.mark.parametrize(("make", "words"), [case[1:] for case in QUICK], ids=[c[0] for c in QUICK])
def test_hostile_files(make, words):
    refused(make(), words)


@pytest.mark.slow
@pytest.mark.parametrize(("make", "words"), [case[1:] for case in SLOW], ids=[c[0] for c in SLOW])
def test_hostile_files_that_take_long(make, words):
    refused(make(), words)


@pytest.mark.parametrize(
    ("error", "words"),
    [
        (bounded.OverLimitError, "too much time or memory"),
        (bounded.BrokenError, "damaged"),
        (bounded.BusyError, "again in a minute"),
    ],
)
def test_what_the_other_process_met_is_said(monkeypatch, error, words):
    def run(*arguments, **options):
        raise error

    monkeypatch.setattr(reading.bounded, "run", run)
    with pytest.raises(UnreadableFileError, match=words):
        read_table(b"Route\nR1\n")
