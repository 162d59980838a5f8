"""A program's own fields, from the sheet through review to publication, live records and back."""

import csv
import io
import zipfile

import pytest

from accounts.models import Role
from surveys.exports.records import OWN_VALUES, RecordFilter, page, statement
from surveys.exports.writing import EXPORT_FORMATS
from surveys.models import OwnField
from surveys.publishing.differences import difference
from surveys.publishing.files import text_of
from surveys.publishing.formats import darwincore
from surveys.publishing.reading import rows_of
from surveys.visits.verbs import accept, correct_cells, reopen
from tests.support.builders import (
    make_checklist,
    make_member,
    make_own_field,
    make_program,
    make_route,
)
from tests.support.frozen import small_frozen
from tests.support.publishing import publish_now
from tests.support.sheets import NIGHT, changes, make_submitted, plain_cells

pytestmark = pytest.mark.django_db
SECRET = "Gate code of the Marsh farm"
TYPED = {
    "own.led_by": SECRET,
    "own.fog_lights": "no",
    "stops.1.own.salinity": "12,5",
    "stops.1.own.shore": "Reed bed",
    "stops.2.own.salinity": "0",
    "stops.2.own.remark": "=SUM(1)",
}


@pytest.fixture
def fields(program):
    make_own_field(
        program, "Salinity", unit="ppt", low=0, high=45.5, help="At the edge", asked_from=NIGHT
    )
    make_own_field(
        program, "Shore", kind="choice", choices=[["reed", "Reed bed"], ["open", "Open shore"]]
    )
    make_own_field(program, "Fog lights", kind="yes_no", per="visit")
    make_own_field(program, "Led by", kind="text", per="visit", published=False)
    make_own_field(program, "Remark", kind="text", published=True)
    make_own_field(program, "Never filled in")


@pytest.fixture
def visit(observer, coordinator, program, fields):
    """Accepted, beside a neighbor whose program publishes fields of the same keys, texts too."""
    make_checklist(program)
    neighbor = make_program()
    make_own_field(neighbor, "Salinity")
    make_own_field(neighbor, "Led by", kind="text", per="visit")
    make_checklist(neighbor)
    for member, reviewer in (
        (
            make_member(neighbor, Role.OBSERVER),
            make_member(neighbor, Role.COORDINATOR),
        ),
        (observer, coordinator),
    ):
        route = make_route(member.program, stops=2)
        visit = make_submitted(member, route, plain_cells(2) | TYPED)
        visit = accept(reviewer, visit.pk, revision=visit.revision)
    return visit


def values_of(publication):
    rows = list(rows_of(publication, "own_values")[1])
    values = {(row[0], row[2]): row[3] for row in rows}
    assert len(values) == len(rows)
    return values


def test_what_is_typed_is_published_with_what_it_means(coordinator, visit):
    publication = publish_now(coordinator, 2024)
    first, second = (str(period.pk) for period in visit.periods.order_by("stop__number"))
    assert values_of(publication) == {
        (str(visit.pk), "fog_lights"): "false",
        (first, "salinity"): "12.5",
        (first, "shore"): "reed",
        (second, "salinity"): "0",
        (second, "remark"): "=SUM(1)",
    }
    # A text that a spreadsheet would take for a formula is guarded in the file.
    assert "'=SUM(1)" in text_of(publication, "data/own_values.csv")
    meanings = {row[0]: row[1:] for row in rows_of(publication, "own_fields")[1]}
    assert list(meanings) == ["salinity", "shore", "fog_lights", "remark"]
    assert meanings["salinity"] == (
        "Salinity", "At the edge", "number", "stop", "ppt", 0.0, 45.5, None,
    )  # fmt: skip
    assert meanings["shore"][-1] == "reed = Reed bed; open = Open shore"


def test_a_text_is_in_no_open_file_unless_the_coordinator_says_so(coordinator, visit):
    hidden = publish_now(coordinator, 2024)
    assert not any(SECRET in (text_of(hidden, file.kind) or "") for file in hidden.files.all())
    assert SECRET not in exported(coordinator.program)
    OwnField.objects.filter(program=coordinator.program, key="led_by").update(published=True)
    shown = publish_now(coordinator, 2024, "The team leaders agreed.")
    assert values_of(shown)[str(visit.pk), "led_by"] == SECRET
    assert SECRET in exported(coordinator.program)


def exported(program) -> str:
    found = statement(program, OWN_VALUES, RecordFilter(), exact=False)
    return b"".join(EXPORT_FORMATS["csv"].write(OWN_VALUES, found)).decode()


def test_live_records_are_those_of_the_publication(coordinator, visit):
    published = values_of(publish_now(coordinator, 2024))
    live = list(csv.DictReader(io.StringIO(exported(coordinator.program))))
    assert {(row["event"], row["field"]): row["value"].lstrip("'") for row in live} == published
    assert {row["visit"] for row in live} == {str(visit.pk)}
    assert len(live) == len(published)
    first, after = page(
        coordinator.program, OWN_VALUES, RecordFilter(), exact=False, after=None, limit=2
    )
    rest, end = page(
        coordinator.program, OWN_VALUES, RecordFilter(), exact=False, after=after, limit=9
    )
    assert (len(first), len(rest), end) == (2, 3, None)


def test_what_does_not_count_has_no_values(coordinator, visit):
    reopen(coordinator, visit.pk, note="A second look.", revision=visit.revision)
    assert exported(coordinator.program).splitlines() == ["event,visit,field,value"]


def test_darwin_core_has_a_measurement_for_each_value(coordinator, visit, tmp_path):
    frozen = small_frozen(tmp_path, results=False, program=coordinator.program)
    darwincore.write(frozen, tmp_path / "dwca.zip")
    with zipfile.ZipFile(tmp_path / "dwca.zip") as archive:
        text = archive.read("measurement.csv").decode()
    rows = [row for row in csv.DictReader(io.StringIO(text)) if ":own." in row["measurementID"]]
    first, second = (str(period.pk) for period in visit.periods.order_by("stop__number"))
    assert {
        (row["eventID"], row["measurementType"], row["measurementValue"], row["measurementUnit"])
        for row in rows
    } == {
        (str(visit.pk), "Fog lights", "false", ""),
        (first, "Salinity", "12.5", "ppt"),
        (first, "Shore", "Reed bed", ""),
        (second, "Salinity", "0", "ppt"),
        (second, "Remark", "'=SUM(1)", ""),
    }


def test_a_corrected_value_is_a_change_of_its_visit(coordinator, visit):
    older = publish_now(coordinator, 2024)
    visit = reopen(coordinator, visit.pk, note="Misread.", revision=visit.revision)
    corrected = changes({"stops.2.own.salinity": "3"}, was=visit.cells)
    visit = correct_cells(
        coordinator, visit.pk, corrected, reason="Misread.", revision=visit.revision
    )
    accept(coordinator, visit.pk, revision=visit.revision)
    newer = publish_now(coordinator, 2024, "A value was misread.")
    (change,) = difference(older, newer).changed
    assert (change.visit, change.what) == (str(visit.pk), ("its own fields",))
    assert values_of(older) != values_of(newer)
