"""Routes on which nothing was heard this season, and always before in the same window."""

import datetime as dt

import pytest

from surveys.seasons.silent_routes import SilentRoute, silent_routes
from tests.support.builders import make_accepted_visit, make_checklist, make_route

pytestmark = pytest.mark.django_db

YEAR = 2025


@pytest.fixture
def route(program):
    return make_route(program, code="R07", name="Mill Pond", stops=1)


@pytest.fixture
def visited(program, route, observer):
    (peeper,) = make_checklist(program)

    def make(year: int, window: str = "Spring", *, heard: bool = True, **options: object):
        calls = {1: {peeper: 1}} if heard else {}
        night = dt.date(year, 4, 10)
        return make_accepted_visit(
            route, observer.person, night=night, window=window, heard=calls, **options
        )

    return make


def test_a_route_that_had_calls_before_and_has_none_now(program, visited):
    for year in (2022, 2024):
        visited(year)
    visited(YEAR, heard=False)
    assert silent_routes(program, YEAR) == [
        SilentRoute(code="R07", name="Mill Pond", window="Spring", heard_in=(2022, 2024))
    ]


@pytest.mark.parametrize(
    "earlier",
    [
        {2024: True},  # too few
        {2023: True, 2024: False},  # it was silent before
        {2018: True, 2019: True, 2024: True},  # too long ago to count
    ],
)
def test_otherwise_it_is_not_told(program, visited, earlier):
    for year, heard in earlier.items():
        visited(year, heard=heard)
    visited(YEAR, heard=False)
    assert silent_routes(program, YEAR) == []


def test_windows_are_told_apart_and_only_visits_that_count_speak(program, visited):
    for year in (2023, 2024):
        visited(year)
    visited(YEAR, "Early", heard=False)
    visited(YEAR, heard=False, counts_in_trends=False)
    assert silent_routes(program, YEAR) == []
