"""What a route heard over the years."""

import datetime as dt

import pytest

from surveys.models import VisitState
from surveys.seasons.heard_on_route import MOST_YEARS, heard_on
from tests.support.builders import make_accepted_visit, make_checklist, make_route

pytestmark = pytest.mark.django_db


@pytest.fixture
def species(program):
    return make_checklist(program, "Pseudacris crucifer", "Anaxyrus americanus", "Rana aurora")


@pytest.fixture
def visited(observer, species, program):
    """Peepers at stop 2 in 2021 and, louder, in 2024; toads in 2024 only."""
    peeper, toad, _ = species
    route, other = make_route(program), make_route(program)
    for year, heard in (
        (2021, {2: {peeper: 1}}),
        (2024, {1: {peeper: 2, toad: 1}, 2: {peeper: 3}}),
    ):
        make_accepted_visit(route, observer.person, night=dt.date(year, 4, 15), heard=heard)
    make_accepted_visit(other, observer.person, heard={1: {toad: 3}})
    make_accepted_visit(
        route,
        observer.person,
        night=dt.date(2023, 4, 15),
        heard={1: {toad: 3}},
        state=VisitState.SUBMITTED,
        counts_in_trends=False,
    )
    return route


def test_the_highest_index_of_each_season(visited, species):
    peeper, toad, _ = species
    found = heard_on(visited)
    assert found.years == (2024, 2023, 2022, 2021)
    assert found.rows == ((peeper, (3, None, None, 1)), (toad, (1, None, None, 0)))


def test_years_long_ago_are_left_out(visited, observer, species):
    make_accepted_visit(
        visited, observer.person, night=dt.date(2010, 4, 15), heard={1: {species[2]: 1}}
    )
    assert heard_on(visited).years[-1] == 2021
    recent = dt.date(2024 - MOST_YEARS + 1, 4, 15)
    make_accepted_visit(visited, observer.person, night=recent, heard={1: {species[2]: 1}})
    found = heard_on(visited)
    assert (len(found.years), len(found.rows)) == (MOST_YEARS, 3)


def test_a_route_without_accepted_visits(program):
    assert heard_on(make_route(program)).years == ()
