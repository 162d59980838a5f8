"""Every column of the yearly table, by hand on small invented data."""

import datetime as dt

import pytest

from surveys.models import (
    CallIndex,
    ChecklistEntry,
    ListeningPeriod,
    VisitState,
)
from surveys.seasons.yearly import yearly_table
from surveys.trends.numerics.intervals import wilson
from tests.support.builders import (
    make_accepted_visit,
    make_checklist,
    make_program,
    make_route,
    make_species,
)

pytestmark = pytest.mark.django_db

PEEPER = "Pseudacris crucifer"
TOAD = "Anaxyrus americanus"


def rows_of(program, **filters):
    return {(row.species, row.season_year): row for row in yearly_table(program, **filters)}


@pytest.fixture
def two_routes(program):
    return make_route(program, stops=3), make_route(program, stops=2)


@pytest.fixture
def spring(program, observer, two_routes):
    """2024: route 1 twice in one window, route 2 once; five stops in all.

    Peeper: stop 1 index 1 then 3, stop 2 index 2 once, stop 3 silent twice;
    route 2 stop 1 index 1, stop 2 skipped. Toad: never heard.
    """
    first, second = two_routes
    peeper, _ = make_checklist(program, PEEPER, TOAD)
    heard = [{1: {peeper: 1}, 2: {peeper: 2}}, {1: {peeper: 3}}]
    for night, found in zip((dt.date(2024, 4, 2), dt.date(2024, 4, 20)), heard, strict=True):
        make_accepted_visit(first, observer.person, night=night, heard=found)
    make_accepted_visit(
        second,
        observer.person,
        night=dt.date(2024, 5, 6),
        heard={1: {peeper: 1}},
        skipped=frozenset({2}),
    )
    return peeper


def test_every_column_by_hand(program, spring):
    row = rows_of(program)[PEEPER, 2024]
    assert (row.routes, row.stops, row.visits, row.periods) == (2, 4, 3, 7)
    assert row.stops_detected == 3
    assert row.naive_occupancy == 0.75
    limits = wilson(3, 4)
    assert (row.naive_low, row.naive_high) == (limits.low, limits.high)
    # Highest index by stop: 3, 2, silent, 1.
    assert (row.share_index_1, row.share_index_2, row.share_index_3) == (0.25, 0.25, 0.25)
    assert row.mean_index == 1.5
    assert (row.first_night, row.last_night) == (dt.date(2024, 4, 2), dt.date(2024, 5, 6))
    assert row.flags == ("too-few-data",)


def test_a_species_never_heard_has_zeros_and_no_nights(program, spring):
    row = rows_of(program)[TOAD, 2024]
    assert (row.stops, row.stops_detected, row.naive_occupancy) == (4, 0, 0.0)
    assert (row.first_night, row.last_night) == (None, None)
    assert "never-heard" in row.flags


def test_a_stop_not_reached_is_missing(program, spring, two_routes):
    ListeningPeriod.objects.filter(stop__route=two_routes[0], stop__number=3).delete()
    row = rows_of(program)[PEEPER, 2024]
    assert (row.stops, row.periods, row.stops_detected) == (3, 5, 3)
    assert row.naive_occupancy == 1.0


def test_a_call_that_does_not_count_is_missing_not_zero(program, spring, two_routes):
    """Left out by the coordinator: index 3 at stop 1 goes, its index 1 stays."""
    CallIndex.objects.filter(index=3).update(counts_in_trends=False)
    row = rows_of(program)[PEEPER, 2024]
    assert (row.stops, row.periods, row.stops_detected) == (4, 6, 3)
    assert (row.share_index_1, row.share_index_3) == (0.5, 0.0)
    assert rows_of(program)[TOAD, 2024].periods == 7


def test_heard_but_not_sure_is_missing(program, spring, two_routes):
    period = ListeningPeriod.objects.filter(stop__route=two_routes[0], stop__number=3).first()
    CallIndex.objects.create(period=period, species=spring, not_sure=True)
    row = rows_of(program)[PEEPER, 2024]
    assert (row.stops, row.periods) == (4, 6)


def test_a_period_left_out_takes_all_its_species_away(program, spring, two_routes):
    ListeningPeriod.objects.filter(stop__route=two_routes[1]).update(counts_in_trends=False)
    row = rows_of(program)[PEEPER, 2024]
    assert (row.routes, row.stops, row.visits, row.periods, row.stops_detected) == (1, 3, 2, 6, 2)


@pytest.mark.parametrize(
    "state", [VisitState.SUBMITTED, VisitState.SENT_BACK, VisitState.SET_ASIDE]
)
def test_a_visit_that_is_not_accepted_is_nowhere(program, observer, spring, two_routes, state):
    make_accepted_visit(
        two_routes[0],
        observer.person,
        night=dt.date(2024, 3, 20),
        heard={1: {spring: 1}},
        state=state,
        counts_in_trends=False,
    )
    row = rows_of(program)[PEEPER, 2024]
    assert (row.visits, row.first_night) == (3, dt.date(2024, 4, 2))


@pytest.mark.parametrize(
    ("listed_from", "listed_until", "periods"),
    [
        (None, None, 7),
        # Both ends belong to the list; route 1 has three stops on each of its nights.
        (dt.date(2024, 4, 20), None, 4),
        (dt.date(2024, 4, 21), None, 1),
        (None, dt.date(2024, 4, 20), 6),
        (None, dt.date(2024, 4, 19), 3),
        (dt.date(2024, 4, 3), dt.date(2024, 4, 19), 0),
    ],
)
def test_zeros_exist_only_on_nights_of_the_checklist(
    program, spring, listed_from, listed_until, periods
):
    ChecklistEntry.objects.filter(species__scientific_name=TOAD).update(
        listed_from=listed_from, listed_until=listed_until
    )
    row = rows_of(program).get((TOAD, 2024))
    assert (row.periods if row else 0) == periods


def test_a_species_off_the_checklist_has_no_row(program, observer, spring, two_routes):
    stranger = make_species("Lithobates sylvaticus")
    make_accepted_visit(
        two_routes[0], observer.person, night=dt.date(2024, 6, 1), heard={1: {stranger: 2}}
    )
    assert {species for species, _ in rows_of(program)} == {PEEPER, TOAD}


def test_a_season_across_new_year_is_one_row_with_nights_in_order(program, observer):
    route = make_route(program, stops=2)
    (winter,) = make_checklist(program, "Pseudacris ornata")
    for night, index in ((dt.date(2024, 12, 20), 1), (dt.date(2025, 2, 3), 3)):
        make_accepted_visit(
            route, observer.person, night=night, season_year=2025, heard={1: {winter: index}}
        )
    (row,) = yearly_table(program)
    assert row.season_year == 2025
    assert (row.first_night, row.last_night) == (dt.date(2024, 12, 20), dt.date(2025, 2, 3))
    assert (row.stops, row.visits, row.share_index_3) == (2, 2, 0.5)


def test_filters(program, observer, spring, two_routes):
    two_routes[1].region = "Uplands"
    two_routes[1].save()
    assert rows_of(program, region="Uplands")[PEEPER, 2024].stops == 1
    assert set(rows_of(program, species=spring)) == {(PEEPER, 2024)}
    assert rows_of(program, first_year=2025) == {}
    assert rows_of(program, last_year=2023) == {}


def test_another_program_sees_nothing(program, spring):
    other = make_program()
    make_checklist(other, PEEPER)
    assert yearly_table(other) == []


@pytest.mark.parametrize(
    ("years", "found"),
    [
        ({}, {2024, 2025, 2026}),
        ({"first_year": 2025}, {2025, 2026}),
        ({"last_year": 2025}, {2024, 2025}),
        ({"first_year": 2025, "last_year": 2025}, {2025}),
    ],
)
def test_the_years_that_are_named_belong_to_the_table(program, observer, years, found):
    make_checklist(program, PEEPER)
    route = make_route(program)
    for year in (2024, 2025, 2026):
        make_accepted_visit(route, observer.person, night=dt.date(year, 4, 15))
    assert {year for _, year in rows_of(program, **years)} == found
