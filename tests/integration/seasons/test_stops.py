"""Stops with their highest index."""

import datetime as dt

import pytest

from surveys.models import (
    CallIndex,
    Stop,
)
from surveys.seasons.stops import stops_heard
from tests.support.builders import (
    make_accepted_visit,
    make_checklist,
    make_program,
    make_route,
)

pytestmark = pytest.mark.django_db


def test_highest_index_by_stop(program, observer):
    route = make_route(program, stops=4)
    peeper, toad = make_checklist(program, "Pseudacris crucifer", "Anaxyrus americanus")
    for night, heard in (
        (dt.date(2024, 4, 1), {1: {peeper: 1, toad: 3}, 2: {toad: 1}}),
        (dt.date(2024, 4, 9), {1: {peeper: 2}}),
    ):
        make_accepted_visit(
            route, observer.person, night=night, heard=heard, skipped=frozenset({4})
        )
    CallIndex.objects.filter(species=toad, index=1).update(counts_in_trends=False)

    def indexes(**options):
        found = stops_heard(program, [route], first_year=2024, last_year=2024, **options)
        return [(stop.highest_index, stop.periods) for stop in found]

    assert indexes() == [(3, 2), (0, 2), (0, 2), (None, 0)]
    assert indexes(species=peeper) == [(2, 2), (0, 2), (0, 2), (None, 0)]
    # Stop 2 is missing for the toad on the first night, silent on the second.
    assert indexes(species=toad) == [(3, 2), (0, 1), (0, 2), (None, 0)]
    assert stops_heard(make_program(), [route], first_year=2024, last_year=2024) == []


def test_a_stop_closed_long_ago_shows_only_in_its_own_years(program, observer):
    route = make_route(program, stops=2)
    make_accepted_visit(route, observer.person, night=dt.date(2020, 4, 1))
    Stop.objects.filter(route=route, number=2).update(active_until=dt.date(2021, 1, 1))
    numbers = {
        year: [s.number for s in stops_heard(program, [route], first_year=year, last_year=year)]
        for year in (2020, 2024)
    }
    assert numbers == {2020: [1, 2], 2024: [1]}


def test_a_stop_is_drawn_where_it_lies(program, observer):
    route = make_route(program, stops=1)
    make_accepted_visit(route, observer.person, night=dt.date(2024, 4, 1))
    (stop,) = stops_heard(program, [route], first_year=2024, last_year=2024)
    place = route.stops.get().place
    assert (stop.latitude, stop.longitude) == pytest.approx((place.y, place.x))
    assert place.x != pytest.approx(place.y)
