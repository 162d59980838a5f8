"""Weather written down once a visit is that at the start, not at the first stop."""

import pytest

from surveys.importing.columns import guess
from surveys.importing.reading import read_table
from surveys.importing.shapes import spread
from tests.unit.importing.test_columns import CATALOG

HEAD = "Route,Date,Stop,Temp (F),Wind,Sky,Wood frog"


def guessed(*lines):
    table = spread(read_table("\n".join(lines).encode()))
    choices = guess(table, catalog=CATALOG, temperature_unit="C")
    return [choice.code for choice in choices[3:6]]


STOPS = ["air_temperature:F", "beaufort:beaufort", "sky"]
START = [f"start_{code}" for code in STOPS]


@pytest.mark.parametrize(
    ("rows", "codes"),
    [
        # Merged cells, of weather alone, and of route and date, too.
        (["R1,2012-04-01,1,48,2,clear,1", "R1,2012-04-01,2,,,,0"], START),
        (["R1,2012-04-01,1,48,2,clear,1", ",,2,,,,0", ",2012-04-02,1,50,1,rain,1"], START),
        # Sky was not written down at all.
        (["R1,2012-04-01,1,48,2,,1", ",,2,,,,0"], [*START[:2], "sky"]),
        # Once below the first row is at the stop.
        (
            ["R1,2012-04-01,1,48,2,clear,1", ",,2,,3,,0"],
            [START[0], STOPS[1], START[2]],
        ),
        # Nothing tells where each visit has one row.
        (["R1,2012-04-01,1,48,2,clear,1", "R1,2012-04-02,1,48,2,clear,1"], STOPS),
    ],
)
def test_only_in_the_first_row_of_a_visit(rows, codes):
    assert guessed(HEAD, *rows) == codes


def test_a_row_for_each_visit():
    head = "Route,Date,Observer,Temp (F),Wind,Sky,Stop 1 Wood frog,Stop 2 Wood frog"
    assert guessed(head, "R1,2012-04-01,Ida Sedge,48,2,clear,1,0") == START
    own = "Route,Date,Observer,Stop 1 Temp (F),Stop 2 Temp (F),Stop 1 Wood frog,Stop 2 Wood frog"
    table = spread(read_table(f"{own}\nR1,2012-04-01,Ida Sedge,48,47,1,0".encode()))
    codes = [one.code for one in guess(table, catalog=CATALOG, temperature_unit="C")]
    assert codes[4] == STOPS[0]


def test_where_a_column_names_the_start_the_other_is_at_the_stop():
    head = "Route,Date,Stop,Temp (F),Wind,Start temp (F),Wood frog"
    rows = ["R1,2012-04-01,1,48,2,50,1", "R1,2012-04-01,2,,,,0"]
    assert guessed(head, *rows) == [STOPS[0], START[1], START[0]]
