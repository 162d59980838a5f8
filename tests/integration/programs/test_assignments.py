"""Assignments and the season year that is offered first."""

import datetime as dt

import pytest
from django.core.exceptions import ValidationError

from accounts.models import Role
from surveys.models import Assignment
from surveys.programs import assignments
from tests.support.builders import (
    make_member,
    make_person,
    make_route,
    make_version,
)

pytestmark = pytest.mark.django_db


@pytest.fixture
def route(program):
    return make_route(program)


def assign(member, route, observer, year=2026):
    return assignments.assign(
        member, route_id=route.pk, observer_id=observer.person_id, season_year=year
    )


def test_assigning_twice_changes_nothing(coordinator, observer, route):
    assert assign(coordinator, route, observer) == assign(coordinator, route, observer)
    assert Assignment.objects.count() == 1


def test_unassigning(coordinator, observer, route):
    given = assign(coordinator, route, observer)
    assignments.unassign(coordinator, given.pk)
    assert not Assignment.objects.exists()


@pytest.mark.parametrize(
    ("options", "said"),
    [
        ({"role": Role.PARTNER}, "cannot enter visits"),
        ({"active": False}, "no longer active"),
    ],
)
def test_only_those_who_survey_are_assigned(coordinator, program, route, options, said):
    with pytest.raises(ValidationError, match=said):
        assign(coordinator, route, make_member(program, **options))


def test_a_route_that_is_not_surveyed_is_not_assigned(coordinator, observer, program):
    with pytest.raises(ValidationError, match="is not active"):
        assign(coordinator, make_route(program, active=False), observer)


def test_a_year_far_ahead_is_refused(coordinator, observer, route):
    with pytest.raises(ValidationError, match="season year up to"):
        assign(coordinator, route, observer, year=3000)


def test_assignments_of_lists_every_active_route(coordinator, observer, program, route):
    idle = make_route(program)
    make_route(program, active=False)
    given = assign(coordinator, route, observer)
    rows = assignments.assignments_of(program, 2026)
    assert [(row.route, row.assignments) for row in rows] == [(route, (given,)), (idle, ())]


def test_repeating_takes_over_those_who_still_survey(coordinator, observer, program, route):
    leaver = make_member(program, person=make_person("Sam Alderley"))
    for one in (observer, leaver):
        assign(coordinator, route, one, year=2025)
    leaver.active = False
    leaver.save()
    assert assignments.repeat_assignments(coordinator, season_year=2026) == 1
    assert assignments.repeat_assignments(coordinator, season_year=2026) == 0
    kept = Assignment.objects.get(season_year=2026)
    assert kept.observer == observer.person


@pytest.mark.parametrize(
    ("begins", "today", "year"),
    [
        ((1, 1), dt.date(2026, 11, 20), 2026),
        ((9, 1), dt.date(2026, 11, 20), 2027),
        ((9, 1), dt.date(2026, 8, 31), 2026),
        ((9, 1), dt.date(2027, 1, 5), 2027),
    ],
    ids=["calendar year", "after the beginning", "the day before", "after New Year"],
)
def test_the_current_season_year_follows_the_protocol(program, begins, today, year):
    month, day = begins
    make_route(
        program,
        version=make_version(program, season_begins_month=month, season_begins_day=day),
    )
    assert assignments.current_season_year(program, today) == year


def test_without_routes_the_calendar_year_is_current(program):
    assert assignments.current_season_year(program, dt.date(2026, 5, 1)) == 2026


def test_most_routes_decide(program):
    winter = make_version(program, season_begins_month=9, season_begins_day=1)
    for version in (winter, winter, make_version(program)):
        make_route(program, version=version)
    assert assignments.current_season_year(program, dt.date(2026, 11, 20)) == 2027
