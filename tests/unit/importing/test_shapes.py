"""Ugly files: titles, names in two rows, gaps, totals, a row for a whole visit."""

import pytest

from surveys.importing.columns import guess
from surveys.importing.layout import Layout
from surveys.importing.shapes import filled_down, has_gaps, spread, without_totals
from surveys.importing.workbooks import parse as parse_workbook
from tests.support.spreadsheets import read_here, workbook

CATALOG = {"spring peeper": "pseudacris-crucifer", "wood frog": "lithobates-sylvaticus"}


def choices(table):
    return guess(table, catalog=CATALOG, temperature_unit="C")


def test_a_title_above_the_names():
    table = read_here(b"Spring survey 2012,,,\n,,,\nRoute,Date,Stop,Wood frog\nR1,2012-04-15,1,2\n")
    assert table.headers == ("Route", "Date", "Stop", "Wood frog")
    assert [row.number for row in table.rows] == [4]
    assert "row 3" in table.notices[0]


@pytest.mark.parametrize(
    ("text", "headers"),
    [
        (
            "Route,Date,Stop,Start,,End,\n,,,Time,Sky,Time,Sky\nR1,2012-04-15,1,21:14,1,21:19,1\n",
            ("Route", "Date", "Stop", "Start Time", "Start Sky", "End Time", "End Sky"),
        ),
        (
            ",,,Start,,End,\nRoute,Date,Stop,Time,Sky,Time,Sky\nR1,2012-04-15,1,21:14,1,21:19,1\n",
            ("Route", "Date", "Stop", "Start Time", "Start Sky", "End Time", "End Sky"),
        ),
        ("Route,Date,,Note\nR1,2012-04-15,,calm\nR2,2012-04-16,x,\n", None),
        ("Route,Date,Stop\nR1,April,one\nR1,May,two\n", None),
    ],
)
def test_names_in_two_rows(text, headers):
    table = read_here(text.encode())
    if headers is None:
        assert (table.name_rows, len(table.rows)) == (1, 2)
    else:
        assert (table.headers, len(table.rows), table.name_rows) == (headers, 1, 2)


def test_sheet_and_names_as_chosen():
    content = workbook([["Read me", "first"]], [["x", "y"], ["Route", "Stop"], ["R1", 1]])
    chosen = Layout(sheet="Sheet 2", names_row=2, name_rows=1)
    from_chosen = parse_workbook(content, chosen).decode()
    assert '"headers": ["Route", "Stop"]' in from_chosen
    assert '"sheets": ["Sheet 2", "Sheet 1"]' in from_chosen


def test_a_row_for_a_whole_visit_becomes_a_row_for_each_stop():
    table = spread(
        read_here(
            b"Route,Date,Stop 1 Wood frog,Stop 1 Spring peeper,Stop 2 Wood frog,"
            b"Stop 2 Spring peeper\nR1,2012-04-15,1,2,,3\n"
        )
    )
    assert table.headers == ("Route", "Date", "Stop", "Wood frog", "Spring peeper")
    assert [row.texts for row in table.rows] == [
        ("R1", "2012-04-15", "1", "1", "2"),
        ("R1", "2012-04-15", "2", "", "3"),
    ]
    assert {row.number for row in table.rows} == {2}


@pytest.mark.parametrize(
    "names",
    [
        "Route,Date,Wood frog S1,Wood frog S2",
        "Route,Date,1. Wood frog,2. Wood frog",
        "Route,Date,Wood frog (stop 1),Wood frog (stop 2)",
    ],
)
def test_stops_in_names_as_people_write_them(names):
    assert spread(read_here(f"{names}\nR1,2012-04-15,1,2\n".encode())).headers[2:] == (
        "Stop",
        "Wood frog",
    )


@pytest.mark.parametrize(
    "names",
    ["Route,Stop,Date,Rain 48 h", "Route,Stop,Observer 1,Observer 2", "Route,Temp 1,Wind 2,Sky"],
)
def test_other_numbers_in_names_are_not_stops(names):
    table = read_here(f"{names}\nR1,1,2,3\n".encode())
    assert spread(table) is table


def test_gaps_are_filled_from_the_row_above_within_a_visit():
    table = read_here(
        b"Route,Date,Observer,Stop,Wood frog\n"
        b"R1,2012-04-15,Ann,1,2\n,,,2,1\nR2,,,1,1\n,2012-04-17,,1,3\n"
    )
    assert has_gaps(table, choices(table))
    filled = filled_down(table, choices(table))
    assert [row.texts[:3] for row in filled.rows] == [
        ("R1", "2012-04-15", "Ann"),
        ("R1", "2012-04-15", "Ann"),
        # Another route begins another visit: its date is not that of the one above.
        ("R2", "", ""),
        ("R2", "2012-04-17", ""),
    ]
    assert filled.rows[1].as_written[:3] == ("", "", "")


def test_the_stop_is_filled_in_the_long_form_alone():
    text = b"Route,Date,Stop,Species,Index\nR1,2012-04-15,1,Wood frog,2\n,,,Spring peeper,1\n"
    table = read_here(text)
    assert filled_down(table, choices(table)).rows[1].texts[2] == "1"
    wide = read_here(b"Route,Date,Stop,Wood frog\nR1,2012-04-15,1,2\n,,,1\n")
    assert filled_down(wide, choices(wide)).rows[1].texts[2] == ""


def test_totals_are_no_stops():
    table = read_here(
        b"Route,Date,Stop,Wood frog\nR1,2012-04-15,1,2\n,,Total,2\nGrand total:,,,2\n"
    )
    kept = without_totals(table, choices(table))
    assert [row.number for row in kept.rows] == [2]
    assert "2 rows hold totals" in kept.notices[-1]
