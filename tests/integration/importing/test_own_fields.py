"""Columns of a spreadsheet that are own fields of the program."""

import datetime as dt

import pytest

from surveys.importing.fields import FIELDS, fields_of
from surveys.importing.template import headers, template_xlsx
from surveys.importing.uploads import commit_upload
from surveys.models import Visit
from tests.integration.importing.conftest import wide
from tests.support.builders import make_own_field, make_program

pytestmark = pytest.mark.django_db
HEADER = "Route,Date,Stop,Start time,End time,Temp (F),Salinity (ppt),shore,Led by"
ROWS = (
    'R1,2024-04-15,1,21:00,21:05,54,"12,5",Reed bed,Wren,1,',
    "R1,2024-04-15,2,21:10,21:15,54,,open,Wren,,",
)


@pytest.fixture
def fields(program):
    make_own_field(program, "Salinity", unit="ppt", low=0, high=45)
    make_own_field(
        program, "Shore", kind="choice", choices=[["reed", "Reed bed"], ["open", "Open shore"]]
    )
    make_own_field(program, "Led by", kind="text", per="visit", asked_until=dt.date(2024, 4, 1))
    make_own_field(make_program(), "Of the neighbor")


def test_columns_with_the_name_of_a_field_are_read(coordinator, fields, attempt):
    tried = attempt(wide(*ROWS, header=HEADER))
    assert [choice.code for choice in tried.upload.choices][6:9] == [
        "own.salinity", "own.shore", "own.led_by",
    ]  # fmt: skip
    assert tried.problems == []
    commit_upload(coordinator, tried.upload)
    visit = Visit.objects.get()
    # Its nights are over, but what the file has of it is kept.
    assert visit.own_fields == {"led_by": "Wren"}
    values = dict(visit.periods.values_list("stop__number", "own_fields"))
    assert values == {1: {"salinity": 12.5, "shore": "reed"}, 2: {"shore": "open"}}


def test_a_column_can_be_chosen_by_hand(fields, attempt):
    header = HEADER.replace("Salinity (ppt)", "S.")
    tried = attempt(wide(*ROWS, header=header), ("S.", "own.salinity"))
    assert tried.upload.choices[6].code == "own.salinity"
    assert tried.problems == []


def test_what_cannot_be_read_names_row_and_column(fields, attempt):
    tried = attempt(wide(ROWS[0].replace("12,5", "90"), header=HEADER))
    (problem,) = tried.problems
    assert "“90” is not between 0 and 45." in problem
    assert "Salinity (ppt)" in problem


def test_a_program_has_its_own_fields_only(program, fields):
    codes = [field.code for field in fields_of(program)[len(FIELDS) :]]
    assert codes == ["own.salinity", "own.shore", "own.led_by"]


def test_the_empty_spreadsheet_has_them(program, fields):
    shown = headers(program)
    assert {"Salinity, ppt", "Shore", "Led by"} <= set(shown)
    assert "Of the neighbor" not in shown
    assert template_xlsx(program)


def test_headers_of_the_empty_spreadsheet_are_recognized(program, fields, attempt):
    shown = headers(program)
    tried = attempt(",".join(f'"{header}"' for header in shown) + "\nR1" + "," * (len(shown) - 1))
    meant = dict(zip(shown, (choice.code for choice in tried.upload.choices), strict=True))
    assert meant["Salinity, ppt"] == "own.salinity"
