"""What a visit is judged against beside its sheet: the training on record, the route's other
nights. A sheet is judged alone, the visits of a file many at once; both must say the same."""

import datetime as dt

import pytest

from surveys.importing.uploads import (
    commit_upload,
    open_upload,
    remember,
    store,
)
from surveys.models import (
    Visit,
    VisitState,
)
from surveys.visits.judging import judge_sheet
from surveys.visits.tonight import route_on_night
from tests.support.builders import (
    make_accepted_visit,
    make_checklist,
    make_member,
    make_person,
    make_program,
    make_route,
    make_version,
)
from tests.support.sheets import (
    NIGHT,
    make_submitted,
    plain_cells,
)

pytestmark = pytest.mark.django_db

TRAINED = dt.date(2024, 3, 1)


def submit_a_sheet(member, route):
    return make_submitted(member, route, plain_cells(1))


def import_a_file(member, route, observer=None):
    """The same visit as a row of a spreadsheet; `observer` is the member's address if not given."""
    who = member.person.email if observer is None else observer
    text = (
        "Route,Date,Stop,Start time,End time,Temp (C),Pseudacris crucifer,Observer\n"
        f"{route.code},{NIGHT:%d %b %Y},1,9:01 pm,9:06 pm,12.5,0,{who}\n"
    )
    before = list(Visit.objects.values_list("pk", flat=True))
    row = store(member, file_name="visits.csv", content=text.encode())
    upload = open_upload(member, row.pk)
    remember(upload, (), upload.answers, leave_out_known=False)
    commit_upload(member, open_upload(member, row.pk))
    return Visit.objects.exclude(pk__in=before).get()


@pytest.fixture(params=[submit_a_sheet, import_a_file])
def findings_of(request, coordinator):
    """Codes of the stored findings of a visit of `NIGHT` that the coordinator hands in."""

    def hand_in(route):
        visit = request.param(coordinator, route)
        return set(visit.findings.values_list("code", flat=True))

    return hand_in


@pytest.fixture
def route(program):
    make_checklist(program)
    version = make_version(program, training_needed=True, min_days_between_visits=5)
    return make_route(program, version=version, stops=1)


def training_of(codes):
    return codes & {"observer-not-qualified", "observer-without-test", "training-unknown"}


@pytest.mark.parametrize(
    ("own", "other", "finding"),
    [
        ((TRAINED, None), None, set()),
        ((TRAINED, NIGHT), None, set()),
        ((TRAINED, NIGHT - dt.timedelta(days=1)), None, {"observer-not-qualified"}),
        ((NIGHT, None), None, set()),
        ((NIGHT + dt.timedelta(days=1), None), None, {"observer-not-qualified"}),
        (None, (TRAINED, None), {"observer-not-qualified"}),
        (None, None, {"training-unknown"}),
    ],
    ids=[
        "trained",
        "until the night",
        "until the day before",
        "from the night on",
        "from the day after",
        "another person",
        "no record",
    ],
)
def test_training_of_the_program(program, coordinator, route, findings_of, own, other, finding):
    if own:
        coordinator.trained_on, coordinator.trained_until = own
        coordinator.save()
    if other:
        make_member(program, trained_on=other[0], trained_until=other[1])
    assert training_of(findings_of(route)) == finding


def test_a_program_may_only_note_it(program, coordinator, findings_of):
    make_checklist(program)
    version = make_version(program, training_needed=True, without_test="note")
    make_member(program, trained_on=TRAINED)
    found = findings_of(make_route(program, version=version, stops=1))
    assert training_of(found) == {"observer-without-test"}


@pytest.mark.parametrize(
    ("written", "finding"),
    [
        ("Linden Harrow", set()),
        ("LINDEN HARROW", set()),
        ("Wren Oakley", {"observer-not-qualified"}),
        ("Hazel Unknown", {"training-unknown"}),
        ("", {"training-unknown"}),
    ],
)
def test_training_of_whom_a_file_names(program, coordinator, route, written, finding):
    """Not of the one who imports it. Of people without an account no training is known."""
    coordinator.trained_on = TRAINED
    coordinator.save()
    make_member(program, person=make_person("Linden Harrow"), trained_on=TRAINED)
    make_member(program, person=make_person("Wren Oakley"))
    visit = import_a_file(coordinator, route, written)
    assert training_of(set(visit.findings.values_list("code", flat=True))) == finding
    # Judged again, as after a correction, it is the same.
    assert training_of({told.code for told in judge_sheet(visit)}) == finding


@pytest.mark.parametrize(
    ("keeps_records", "finding"),
    [(True, {"observer-not-qualified"}), (False, {"training-unknown"})],
)
def test_training_elsewhere_says_nothing(
    program, coordinator, route, findings_of, keeps_records, finding
):
    """The same person passed the test of another program: other species, another test."""
    make_member(make_program(), person=coordinator.person, trained_on=TRAINED)
    if keeps_records:
        make_member(program, trained_on=TRAINED)
    assert training_of(findings_of(route)) == finding


@pytest.mark.parametrize(
    ("state", "counts"),
    [
        (VisitState.DRAFT, False),
        (VisitState.SUBMITTED, True),
        (VisitState.SENT_BACK, True),
        (VisitState.ACCEPTED, True),
        (VisitState.SET_ASIDE, False),
    ],
    ids=str,
)
@pytest.mark.parametrize(
    ("night", "finding"),
    [
        (NIGHT, "same-night-twice"),
        (NIGHT - dt.timedelta(days=4), "too-soon-after-last-visit"),
        (NIGHT + dt.timedelta(days=4), "too-soon-after-last-visit"),
    ],
    ids=["same night", "before", "after"],
)
def test_other_nights_of_the_route(observer, route, findings_of, state, counts, night, finding):
    """A draft may never be handed in, and a visit that was set aside is as if it were not."""
    make_accepted_visit(route, observer.person, night=night, state=state, counts_in_trends=False)
    assert (finding in findings_of(route)) is counts


def test_nights_of_another_route_or_year_are_no_other_nights(program, observer, route, findings_of):
    elsewhere = make_route(program, version=route.protocol.versions.get(), stops=1)
    make_accepted_visit(elsewhere, observer.person, night=NIGHT)
    make_accepted_visit(route, observer.person, night=NIGHT.replace(year=2023))
    assert not findings_of(route) & {"same-night-twice", "too-soon-after-last-visit"}


@pytest.mark.parametrize(
    ("state", "visited"),
    [
        (VisitState.DRAFT, False),
        (VisitState.SUBMITTED, True),
        (VisitState.SENT_BACK, True),
        (VisitState.ACCEPTED, True),
        (VisitState.SET_ASIDE, False),
    ],
    ids=str,
)
def test_a_window_is_visited_by_what_was_handed_in(observer, coordinator, route, state, visited):
    """A visit that was set aside leaves its window to be visited."""
    make_accepted_visit(route, coordinator.person, night=NIGHT, state=state, counts_in_trends=False)
    tonight = route_on_night(observer, route.code, dt.date(2024, 4, 20))
    assert [window.visited for window in tonight.windows] == [visited]
