"""The review queue: order, filters, counts, neighbors."""

import datetime as dt
from dataclasses import replace

import pytest

from accounts.models import Role
from surveys.models import (
    Visit,
    VisitState,
)
from surveys.visits import verbs
from surveys.visits.queue import (
    QueueFilters,
    choices,
    neighbors,
    next_waiting,
    queue,
    state_counts,
)
from tests.support.builders import (
    make_checklist,
    make_member,
    make_program,
    make_route,
)
from tests.support.sheets import (
    make_draft,
    make_submitted,
    plain_cells,
)

WAITING = QueueFilters()


@pytest.fixture
def species(program):
    return make_checklist(program, "Pseudacris crucifer", "Anaxyrus americanus")


@pytest.fixture
def routes(program, species):
    return [
        make_route(program, code="R01", region="North"),
        make_route(program, code="R02", region="South"),
    ]


def submitted(observer, route, at, *, query=False, **options):
    """A visit that was handed in at `at` o'clock on 20 April 2024."""
    cells = plain_cells() | ({"stops.2.finished_at": "21:13"} if query else {})
    visit = make_submitted(observer, route, cells, **options)
    Visit.objects.filter(pk=visit.pk).update(
        submitted_at=dt.datetime(2024, 4, 20, at, tzinfo=dt.UTC)
    )
    visit.refresh_from_db()
    return visit


@pytest.fixture
def three(observer, routes):
    """Handed in at 9, 8 and 10 o'clock; the one of 8 o'clock has a query."""
    first, second = routes
    return [
        submitted(observer, first, 9, night=dt.date(2024, 4, 10)),
        submitted(observer, first, 8, query=True, night=dt.date(2024, 4, 11)),
        submitted(observer, second, 10, night=dt.date(2024, 4, 12)),
    ]


def test_oldest_submission_comes_first(coordinator, three):
    nine, eight, ten = three
    assert list(queue(coordinator, WAITING)) == [eight, nine, ten]


def test_findings_are_counted_by_severity(coordinator, three):
    _, eight, _ = three
    counted = queue(coordinator, WAITING).get(pk=eight.pk)
    stored = [finding.severity for finding in eight.findings.all()]
    assert counted.query_count == stored.count("query") == 1
    assert counted.note_count == stored.count("note")
    assert (counted.refuse_count, counted.open_count) == (0, 1)


def test_settled_query_is_no_longer_open(coordinator, three):
    _, eight, _ = three
    finding = eight.findings.get(severity="query")
    verbs.settle(
        coordinator, finding.pk, settlement="counts", reason="Rang them.", revision=eight.revision
    )
    counted = queue(coordinator, WAITING).get(pk=eight.pk)
    assert (counted.query_count, counted.open_count) == (1, 0)
    assert list(queue(coordinator, replace(WAITING, open_only=True))) == []


@pytest.mark.parametrize(
    ("narrower", "expected"),
    [
        ({"route": "R01"}, [1, 0]),
        ({"region": "South"}, [2]),
        ({"season_year": 2024}, [1, 0, 2]),
        ({"season_year": 2023}, []),
        ({"open_only": True}, [1]),
        ({"route": "R02", "open_only": True}, []),
        ({"state": VisitState.ACCEPTED}, []),
    ],
)
def test_filters_narrow(coordinator, three, narrower, expected):
    visits = list(queue(coordinator, replace(WAITING, **narrower)))
    assert visits == [three[number] for number in expected]


def test_filter_by_observer(program, coordinator, routes, three):
    other = make_member(program, Role.OBSERVER)
    theirs = submitted(other, routes[0], 11, night=dt.date(2024, 5, 1))
    filters = replace(WAITING, observer=other.person_id)
    assert list(queue(coordinator, filters)) == [theirs]


def test_drafts_and_other_programs_are_excluded(coordinator, observer, routes, three):
    make_draft(observer, routes[0])
    elsewhere = make_program()
    make_checklist(elsewhere)
    submitted(make_member(elsewhere), make_route(elsewhere), 7)
    assert set(queue(coordinator, WAITING)) == set(three)
    assert state_counts(coordinator, WAITING)[VisitState.SUBMITTED] == 3
    assert {route.code for route in choices(coordinator).routes} == {"R01", "R02"}


def test_state_counts_follow_the_other_filters(coordinator, three):
    nine, _, _ = three
    verbs.set_aside(coordinator, nine.pk, note="A test visit.", revision=nine.revision)
    assert state_counts(coordinator, WAITING) == {
        "submitted": 2,
        "sent_back": 0,
        "accepted": 0,
        "set_aside": 1,
    }
    narrowed = state_counts(coordinator, replace(WAITING, route="R02"))
    assert (narrowed["submitted"], narrowed["set_aside"]) == (1, 0)


def test_decided_visits_come_latest_first(coordinator, three):
    for visit in three:
        verbs.set_aside(coordinator, visit.pk, note="A test visit.", revision=visit.revision)
    nine, eight, ten = three
    aside = replace(WAITING, state=VisitState.SET_ASIDE)
    assert list(queue(coordinator, aside)) == [ten, nine, eight]
    beside = neighbors(coordinator, aside, nine)
    assert (beside.previous, beside.next) == (ten, eight)


def test_neighbors_in_the_queue(coordinator, three):
    nine, eight, ten = three
    beside = neighbors(coordinator, WAITING, nine)
    assert (beside.previous, beside.next) == (eight, ten)
    assert neighbors(coordinator, WAITING, eight).previous is None
    assert neighbors(coordinator, replace(WAITING, route="R01"), nine).next is None


def test_submissions_at_the_same_instant_have_a_stable_order(coordinator, three):
    Visit.objects.update(submitted_at=dt.datetime(2024, 4, 20, 9, tzinfo=dt.UTC))
    ordered = list(queue(coordinator, WAITING))
    assert neighbors(coordinator, WAITING, ordered[0]).next == ordered[1]
    assert neighbors(coordinator, WAITING, ordered[1]).next == ordered[2]
    assert neighbors(coordinator, WAITING, ordered[1]).previous == ordered[0]


def test_after_the_last_visit_comes_the_first_waiting_one(coordinator, three):
    _, eight, ten = three
    assert next_waiting(coordinator, WAITING, ten) == eight
    assert next_waiting(coordinator, replace(WAITING, route="R02"), ten) is None


def test_choices_come_from_submitted_visits(coordinator, observer, three):
    offered = choices(coordinator)
    assert offered.regions == ("North", "South")
    assert offered.observers == (observer.person,)
    assert offered.season_years == (2024,)


def test_number_of_queries_does_not_grow(
    coordinator, observer, routes, three, django_assert_num_queries
):
    with django_assert_num_queries(1):
        list(queue(coordinator, WAITING))
    for number in range(3):
        submitted(observer, routes[1], 12 + number, query=True, night=dt.date(2024, 5, 1 + number))
    with django_assert_num_queries(1):
        for visit in queue(coordinator, WAITING):
            assert visit.route.code
            assert visit.observer.name
            assert visit.open_count <= visit.query_count
    with django_assert_num_queries(1):
        state_counts(coordinator, WAITING)
    with django_assert_num_queries(3):
        choices(coordinator)
