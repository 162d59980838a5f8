"""A program's own fields on a visit: from the sheet to the rows, the review and the pages."""

import datetime as dt

import pytest
from django.urls import reverse

from accounts.models import Role
from surveys.models import OwnField, Submission, VisitState
from surveys.visits.exceptions import QueriesOpen
from surveys.visits.judging import judge_sheet
from surveys.visits.verbs import accept, correct_cells, settle
from tests.support.builders import make_checklist, make_member, make_own_field, make_program
from tests.support.builders import make_route as build_route
from tests.support.sheets import NIGHT, changes, make_draft, make_submitted, plain_cells, type_cells

pytestmark = pytest.mark.django_db
LONG_AGO = dt.date(2000, 1, 1)


@pytest.fixture
def fields(program):
    return {
        "salinity": make_own_field(program, "Salinity", unit="ppt", low=0, high=45),
        "shore": make_own_field(
            program, "Shore", kind="choice", choices=[["reed", "Reed bed"], ["open", "Open shore"]]
        ),
        "leader": make_own_field(
            program, "Leader", kind="text", per="visit", published=False, help="Who led the team"
        ),
    }


@pytest.fixture
def route(program, fields):
    make_checklist(program)
    return build_route(program, stops=2)


def cells(**own):
    return plain_cells(2) | own


FILLED = {
    "own.leader": "Wren Holloway",
    "stops.1.own.salinity": "12,5",
    "stops.1.own.shore": "Reed bed",
    "stops.2.own.salinity": "0",
}


def test_what_is_typed_becomes_values_of_the_visit_and_its_stops(observer, route):
    visit = make_submitted(observer, route, cells(**FILLED))
    visit.refresh_from_db()
    assert visit.own_fields == {"leader": "Wren Holloway"}
    values = dict(visit.periods.values_list("stop__number", "own_fields"))
    assert values == {1: {"salinity": 12.5, "shore": "reed"}, 2: {"salinity": 0}}
    assert visit.events.latest("pgh_id").own_fields == {"leader": "Wren Holloway"}


def test_a_correction_changes_values_and_history_keeps_the_old_ones(observer, coordinator, route):
    visit = make_submitted(observer, route, cells(**FILLED))
    corrected = changes({"stops.1.own.salinity": "13", "own.leader": ""}, was=visit.cells)
    correct_cells(coordinator, visit.pk, corrected, reason="Misread.", revision=visit.revision)
    visit.refresh_from_db()
    assert visit.own_fields == {}
    period = visit.periods.get(stop__number=1)
    assert period.own_fields == {"salinity": 13, "shore": "reed"}
    salinities = [event.own_fields["salinity"] for event in period.events.order_by("pgh_id")]
    assert salinities == [12.5, 13]


def test_a_missing_required_value_is_a_question_and_never_a_block(
    observer, coordinator, route, fields
):
    OwnField.objects.filter(key="salinity").update(required_from=LONG_AGO)
    visit = make_submitted(observer, route, cells(**{"stops.1.own.salinity": "3"}))
    (finding,) = visit.findings.filter(code="own-field-missing")
    assert (finding.severity, finding.stop.number, finding.field) == ("query", 2, "own.salinity")
    assert finding.message == "“Salinity” is blank at stop 2; your program asks for it."
    with pytest.raises(QueriesOpen):
        accept(coordinator, visit.pk, revision=visit.revision)
    visit = settle(
        coordinator, finding.pk, settlement="counts", reason="No meter.", revision=visit.revision
    )
    assert accept(coordinator, visit.pk, revision=visit.revision).state == VisitState.ACCEPTED


def test_a_value_out_of_range_is_not_also_missing(observer, route):
    OwnField.objects.filter(key="salinity").update(required_from=LONG_AGO)
    typed = {"stops.1.own.salinity": "90", "stops.2.own.salinity": "1"}
    visit = make_draft(observer, route, cells(**typed))
    codes = [
        finding.code for finding in judge_sheet(visit) if finding.where.field == "own.salinity"
    ]
    assert codes == ["cell-out-of-range"]


def test_the_night_decides_what_is_asked_and_what_is_required(observer, route):
    """Before its first night a field is not missing; what a sheet has is read all the same."""
    OwnField.objects.filter(key="salinity").update(
        asked_from=NIGHT + dt.timedelta(days=1), required_from=LONG_AGO
    )
    visit = make_submitted(observer, route, cells(**{"stops.1.own.salinity": "3"}))
    assert not visit.findings.filter(code="own-field-missing").exists()
    assert visit.periods.get(stop__number=1).own_fields == {"salinity": 3}


def test_another_program_has_no_such_field(observer, route):
    neighbor = make_member(make_program(), Role.OBSERVER)
    other_route = build_route(neighbor.program, stops=2)
    OwnField.objects.update(required_from=LONG_AGO)
    visit = make_submitted(neighbor, other_route, plain_cells(2) | FILLED)
    visit.refresh_from_db()
    assert visit.own_fields == {}
    assert list(visit.periods.values_list("own_fields", flat=True)) == [{}, {}]
    assert [finding.code for finding in visit.findings.filter(field__startswith="own")] == []
    assert visit.findings.filter(code="cell-unknown").exists()
    assert visit.cells["stops.1.own.salinity"] == "12,5"


def test_what_has_no_place_on_the_sheet_is_kept_as_it_was_typed(observer, route):
    visit = make_submitted(observer, route, cells(**{"own.wind_noise": "5"}))
    assert visit.own_fields == {}
    assert Submission.objects.get(visit=visit).cells["own.wind_noise"] == "5"


def page(client, name, of_visit, **options):
    arguments = {"program": of_visit.route.program.slug, **options}
    return client.get(reverse(f"web:{name}", kwargs=arguments)).content.decode()


def test_the_sheet_asks_for_the_fields(observer, route, client_for):
    visit = make_draft(observer, route, cells())
    shown = page(client_for(observer), "sheet", visit, visit_id=visit.pk)
    for expected in (
        "Salinity, ppt",
        'name="stops.2.own.salinity"',
        '<option value="open"',
        'name="own.leader"',
        "Who led the team",
    ):
        assert expected in shown


def test_an_ended_field_is_on_the_sheets_that_have_it_only(observer, route, client_for):
    OwnField.objects.filter(key="salinity").update(asked_until=LONG_AGO)
    visit = make_draft(observer, route, cells())
    assert "Salinity" not in page(client_for(observer), "sheet", visit, visit_id=visit.pk)
    type_cells(observer, visit, {"stops.1.own.salinity": "3"})
    assert "Salinity" in page(client_for(observer), "sheet", visit, visit_id=visit.pk)


def test_the_reviewer_and_the_members_see_the_values(observer, coordinator, route, client_for):
    OwnField.objects.filter(key="shore").update(required_from=LONG_AGO)
    visit = make_submitted(observer, route, cells(**FILLED))
    reviewed = page(client_for(coordinator), "review_visit", visit, visit=visit.pk)
    for expected in ("Salinity, ppt", "12.5", "Reed bed", "Leader", "Wren Holloway"):
        assert expected in reviewed
    shown = page(client_for(observer), "visit", visit, visit_id=visit.pk)
    for expected in ("Salinity: 12.5 ppt", "Shore: Reed bed", "Leader", "Stop 2: Shore"):
        assert expected in shown
