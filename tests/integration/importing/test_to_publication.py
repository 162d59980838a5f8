"""Near, far and own fields of a spreadsheet: import, review, publication, Darwin Core."""

import csv
import io
import zipfile

import pytest
from openpyxl import load_workbook

from surveys.importing.template import template_xlsx
from surveys.importing.uploads import commit_upload
from surveys.models import CallIndex, Settlement, Visit
from surveys.publishing.files import text_of
from surveys.publishing.formats import darwincore
from surveys.publishing.reading import rows_of
from surveys.visits.verbs import accept, settle
from tests.integration.importing.conftest import PEEPER, WOOD_FROG
from tests.support.builders import make_own_field, make_route, make_species, make_version
from tests.support.frozen import small_frozen
from tests.support.publishing import publish_now

pytestmark = pytest.mark.django_db

# A column a species, the mark behind the index; and a row a species, the mark in a column.
WIDE = """\
Route,Date,Stop,Start time,End time,Salinity (ppt),Shore,Dogs,Led by,Spring peeper,Wood frog
N1,2024-04-15,1,21:00,21:05,"12,5",Reed bed,no,Team two,2F,1 near
N1,2024-04-15,2,21:10,21:15,0,open,no,Team two,3N,0
"""
LONG = """\
Route,Date,Stop,Start time,End time,Salinity (ppt),Shore,Dogs,Led by,Species,Index,Near or far
N1,2024-04-15,1,21:00,21:05,"12,5",Reed bed,no,Team two,Spring peeper,2,far
N1,2024-04-15,1,21:00,21:05,"12,5",Reed bed,no,Team two,Wood frog,1,N
N1,2024-04-15,2,21:10,21:15,0,open,no,Team two,Spring peeper,3,near
N1,2024-04-15,2,21:10,21:15,0,open,no,Team two,Wood frog,0,
"""


@pytest.fixture
def fields(program):
    version = make_version(program, listening_radius_m=100)
    make_route(program, version=version, code="N1", name="Near Pond", stops=2)
    wood_frog = make_species(WOOD_FROG)
    wood_frog.common_name = "Wood frog"
    wood_frog.save()
    make_own_field(program, "Salinity", unit="ppt", low=0, high=45)
    choices = [["reed", "Reed bed"], ["open", "Open shore"]]
    make_own_field(program, "Shore", kind="choice", choices=choices)
    make_own_field(program, "Dogs", kind="yes_no", per="visit")
    make_own_field(program, "Led by", kind="text", per="visit")


@pytest.fixture
def accepted(coordinator, fields, attempt):
    """The visit of a file, accepted as a coordinator does."""

    def run(text):
        tried = attempt(text)
        assert tried.problems == []
        commit_upload(coordinator, tried.upload)
        visit = Visit.objects.get()
        for finding in visit.findings.filter(severity="query"):
            counts = {"settlement": Settlement.COUNTS, "reason": "Checked against the paper."}
            visit = settle(coordinator, finding.pk, **counts, revision=visit.revision)
        return accept(coordinator, visit.pk, revision=visit.revision)

    return run


@pytest.mark.parametrize("text", [WIDE, LONG], ids=["wide", "long"])
def test_what_a_file_says_is_in_the_tables_of_a_publication(coordinator, accepted, text):
    visit = accepted(text)
    publication = publish_now(coordinator, 2024)
    number = {str(period.pk): period.stop.number for period in visit.periods.all()}
    calls = {
        (number[row["period"]], row["species"]): (
            row["call_index"],
            row["recorded_index"],
            row["far_index"],
        )
        for row in csv.DictReader(io.StringIO(text_of(publication, "data/calls.csv")))
    }
    assert calls == {
        (1, PEEPER): ("0", "", "2"),
        (1, WOOD_FROG): ("1", "1", ""),
        (2, PEEPER): ("3", "3", ""),
        (2, WOOD_FROG): ("0", "", ""),
    }
    number[str(visit.pk)] = "visit"
    values = {(number[row[0]], row[2]): row[3] for row in rows_of(publication, "own_values")[1]}
    assert values == {
        ("visit", "dogs"): "false",
        ("visit", "led_by"): "Team two",
        (1, "salinity"): "12.5",
        (1, "shore"): "reed",
        (2, "salinity"): "0",
        (2, "shore"): "open",
    }
    meanings = {row[0]: row[1] for row in rows_of(publication, "own_fields")[1]}
    assert meanings == {
        "salinity": "Salinity",
        "shore": "Shore",
        "dogs": "Dogs",
        "led_by": "Led by",
    }


def test_darwin_core_has_them_too(coordinator, accepted, tmp_path):
    visit = accepted(LONG)
    frozen = small_frozen(tmp_path, results=False, program=coordinator.program)
    darwincore.write(frozen, tmp_path / "dwca.zip")
    with zipfile.ZipFile(tmp_path / "dwca.zip") as archive:
        occurrences, measurements = (
            list(csv.DictReader(io.StringIO(archive.read(name).decode())))
            for name in ("occurrence.csv", "measurement.csv")
        )
    first = str(visit.periods.get(stop__number=1).pk)
    heard = {
        row["scientificName"]: (row["occurrenceStatus"], row["occurrenceRemarks"])
        for row in occurrences
        if row["eventID"] == first
    }
    # Present, and said to be heard beyond the radius only.
    assert heard == {PEEPER: ("present", darwincore.FAR), WOOD_FROG: ("present", "")}
    own = {
        (row["eventID"] == str(visit.pk), row["measurementType"], row["measurementValue"])
        for row in measurements
        if ":own." in row["measurementID"]
    }
    assert own == {
        (True, "Dogs", "false"),
        (True, "Led by", "Team two"),
        (False, "Salinity", "12.5"),
        (False, "Salinity", "0"),
        (False, "Shore", "Reed bed"),
        (False, "Shore", "Open shore"),
    }


def test_near_and_far_in_a_program_without_a_radius_stay_readable(coordinator, program, attempt):
    """Nothing typed is lost: the mark is kept on the sheet, and review is told."""
    text = WIDE.replace("N1,", "R1,").replace("Salinity (ppt),Shore,Dogs,Led by,", "a,b,c,d,")
    tried = attempt(text.replace("Wood frog", WOOD_FROG))
    assert tried.problems == []
    commit_upload(coordinator, tried.upload)
    assert set(CallIndex.objects.values_list("distance", flat=True)) == {""}
    codes = list(Visit.objects.get().findings.values_list("code", flat=True))
    assert "distance-not-asked" in codes


def test_the_empty_spreadsheet_says_how_near_and_far_are_written(program):
    def told():
        book = load_workbook(io.BytesIO(template_xlsx(program)))
        return [str(cell.value) for row in book["Columns"].iter_rows() for cell in row]

    assert not any("2N, 2F" in text for text in told())
    make_version(program, listening_radius_m=100)
    assert any("2N, 2F" in text for text in told())
