"""CSV texts: RFC 4180, and no cell that a spreadsheet takes for a formula."""

import csv as stdlib_csv
import datetime as dt
import io

import pytest

from surveys.publishing.formats import yearly_csv as csv
from surveys.trends.columns import COLUMNS, YEARLY_FLAGS
from surveys.trends.estimates import NEVER_HEARD
from surveys.trends.table import YearCounts, year_row


@pytest.mark.parametrize("text", ["=1+1", "+1", "-1", "@SUM(A1)", "\tx", "\rx", "\nx", "'", "'=x"])
def test_guards_what_looks_like_a_formula(text):
    assert csv.guard(text) == "'" + text


@pytest.mark.parametrize("text", ["", "Rana", "a=b", "1-2", "x'"])
def test_leaves_other_texts_alone(text):
    assert csv.guard(text) == text


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (None, ""),
        (0, "0"),
        (0.0, "0.0000"),
        (1 / 3, "0.3333"),
        (1.0, "1.0000"),
        (dt.date(2024, 12, 31), "2024-12-31"),
        ("=cmd", "'=cmd"),
    ],
)
def test_cell_texts(value, text):
    assert csv.cell_text(value) == text


def test_lines_quotes_and_utf8_as_rfc_4180_says():
    """RFC 4180, section 2: CR LF after every record (1), cells with a comma, a quote or a
    line break in quotes (6), a quote inside written twice (7)."""
    text = csv.to_csv(["a", "b"], [["x,y", 'say "hi"'], ["two\r\nlines", "Grünfrosch"]])
    assert text == 'a,b\r\n"x,y","say ""hi"""\r\n"two\r\nlines",Grünfrosch\r\n'
    assert csv.from_csv(text) == (["a", "b"], [["x,y", 'say "hi"'], ["two\r\nlines", "Grünfrosch"]])


def test_a_species_name_cannot_become_a_formula():
    counts = YearCounts(
        species='=HYPERLINK("x")', season_year=2024, routes=1, stops=1, visits=1, periods=1,
        stops_detected=0, stops_at_index=(0, 0, 0),
    )  # fmt: skip
    _, row = stdlib_csv.reader(io.StringIO(csv.table_csv([year_row(counts)]), newline=""))
    assert row[0] == '\'=HYPERLINK("x")'


def test_dictionary_has_a_row_for_every_column():
    header, rows = csv.from_csv(csv.dictionary_csv())
    assert header == list(csv.DICTIONARY_HEADER)
    assert [row[0] for row in rows if not row[1]] == [column.name for column in COLUMNS]
    species = rows[0]
    assert (species[2], species[-1]) == ("string", "no")


def test_dictionary_says_what_each_code_means():
    _, rows = csv.from_csv(csv.dictionary_csv())
    codes = {row[1]: (row[0], row[4]) for row in rows if row[1]}
    assert codes[NEVER_HEARD] == ("flags", "The species was listened for and not heard.")
    assert set(codes) == set(YEARLY_FLAGS)
