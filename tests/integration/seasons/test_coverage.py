"""Coverage by window."""

import datetime as dt

import pytest

from surveys.models import (
    ProtocolVersion,
    SeasonWindow,
    VisitState,
)
from surveys.seasons.coverage import (
    Coverage,
    coverage,
)
from tests.support.builders import (
    make_accepted_visit,
    make_route,
    make_version,
)

pytestmark = pytest.mark.django_db


@pytest.fixture
def version(program):
    return make_version(
        program,
        windows=[
            {"name": "Early", "closes_month": 4, "closes_day": 15},
            {"name": "Late", "opens_month": 5, "opens_day": 10},
        ],
    )


@pytest.fixture
def route(program, version):
    return make_route(program, version=version)


def states(program, today, year=2024):
    (row,) = coverage(program, year, today=today).rows
    return [cell.coverage if cell else None for cell in row.cells]


@pytest.mark.parametrize(
    ("today", "expected"),
    [
        (dt.date(2024, 3, 14), [Coverage.AHEAD, Coverage.AHEAD]),
        (dt.date(2024, 3, 15), [Coverage.DUE, Coverage.AHEAD]),
        (dt.date(2024, 4, 15), [Coverage.DUE, Coverage.AHEAD]),
        (dt.date(2024, 4, 16), [Coverage.MISSED, Coverage.AHEAD]),
        (dt.date(2024, 7, 1), [Coverage.MISSED, Coverage.MISSED]),
    ],
)
def test_without_a_visit_the_date_decides(program, route, today, expected):
    assert states(program, today) == expected


@pytest.mark.parametrize(
    ("visit_states", "expected"),
    [
        ([VisitState.ACCEPTED], Coverage.DONE),
        ([VisitState.SUBMITTED], Coverage.IN_REVIEW),
        ([VisitState.SENT_BACK], Coverage.IN_REVIEW),
        ([VisitState.SUBMITTED, VisitState.ACCEPTED], Coverage.DONE),
        ([VisitState.SET_ASIDE], Coverage.MISSED),
        ([VisitState.DRAFT], Coverage.MISSED),
    ],
)
def test_the_state_of_its_visits_decides(program, observer, route, visit_states, expected):
    for day, state in enumerate(visit_states, start=1):
        make_accepted_visit(
            route,
            observer.person,
            night=dt.date(2024, 4, day),
            window="Early",
            state=state,
            counts_in_trends=state == VisitState.ACCEPTED,
        )
    assert states(program, dt.date(2024, 5, 1)) == [expected, Coverage.AHEAD]


def test_a_visit_between_the_windows_does_not_cover_one(program, observer, route):
    make_accepted_visit(route, observer.person, night=dt.date(2024, 5, 1), window="")
    assert states(program, dt.date(2024, 7, 1)) == [Coverage.MISSED, Coverage.MISSED]


def test_two_visits_in_a_window_are_one_window_done(program, observer, route):
    for day in (1, 9):
        make_accepted_visit(route, observer.person, night=dt.date(2024, 4, day), window="Early")
    table = coverage(program, 2024, today=dt.date(2024, 7, 1))
    early = table.rows[0].cells[0]
    assert (early.coverage, early.visits) == (Coverage.DONE, 2)
    assert (table.totals[Coverage.DONE], table.totals[Coverage.MISSED]) == (1, 1)


def test_each_window_belongs_to_the_version_in_force_when_it_opens(program, version, route):
    """From May 2024 the late window is later and has another name."""
    second = ProtocolVersion.objects.create(
        protocol=version.protocol,
        number=2,
        in_force_from=dt.date(2024, 5, 1),
        listening_time_s=300,
    )
    for name, opens, closes in (("Early", (3, 20), (4, 10)), ("Summer", (6, 1), (7, 1))):
        SeasonWindow.objects.create(
            version=second,
            order=1 if name == "Early" else 2,
            name=name,
            opens_month=opens[0],
            opens_day=opens[1],
            closes_month=closes[0],
            closes_day=closes[1],
        )
    before, changed, after = (
        coverage(program, year, today=dt.date(2026, 1, 1)) for year in (2023, 2024, 2025)
    )
    assert before.windows == ("Early", "Late")
    assert changed.windows == ("Early", "Summer")
    assert changed.rows[0].cells[0].window.closes == dt.date(2024, 4, 15)
    assert after.rows[0].cells[0].window.closes == dt.date(2025, 4, 10)


def test_a_window_across_new_year_needs_no_special_case(program, observer):
    """Common practice, no source: south-eastern winter breeders, mid-December to February."""
    version = make_version(
        program,
        season_begins_month=9,
        windows=[
            {
                "name": "Winter",
                "opens_month": 12,
                "opens_day": 15,
                "closes_month": 2,
                "closes_day": 20,
            },
        ],
    )
    route = make_route(program, version=version)
    table = coverage(program, 2025, today=dt.date(2025, 1, 5))
    (cell,) = table.rows[0].cells
    assert (cell.window.opens, cell.window.closes) == (dt.date(2024, 12, 15), dt.date(2025, 2, 20))
    assert cell.coverage == Coverage.DUE
    make_accepted_visit(
        route, observer.person, night=dt.date(2024, 12, 30), season_year=2025, window="Winter"
    )
    assert states(program, dt.date(2025, 1, 5), 2025) == [Coverage.DONE]
