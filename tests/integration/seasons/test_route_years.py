"""Route × season year, by hand on small invented data."""

import datetime as dt

import pytest

from surveys.models import (
    CallIndex,
    ChecklistEntry,
    Stop,
    VisitState,
)
from surveys.seasons.route_years import (
    route_years,
    season_years,
)
from tests.support.builders import (
    make_accepted_visit,
    make_checklist,
    make_program,
    make_route,
    make_species,
    make_version,
)

pytestmark = pytest.mark.django_db
TODAY = dt.date(2025, 5, 1)


@pytest.fixture
def species(program):
    return make_checklist(program, "Pseudacris crucifer", "Anaxyrus americanus")


@pytest.fixture
def route(program, observer, species):
    """2022 and 2024 surveyed, 2023 not; windows in early and late spring."""
    peeper, toad = species
    version = make_version(
        program,
        windows=[
            {"name": "Early", "closes_month": 4, "closes_day": 15},
            {"name": "Late", "opens_month": 5, "opens_day": 10},
        ],
    )
    route = make_route(program, version=version, stops=3, region="Lowlands")
    person = observer.person
    make_accepted_visit(route, person, night=dt.date(2022, 4, 1), window="Early")
    make_accepted_visit(
        route,
        person,
        night=dt.date(2024, 4, 1),
        window="Early",
        heard={1: {peeper: 2}, 2: {toad: 1}},
        skipped=frozenset({3}),
    )
    make_accepted_visit(
        route, person, night=dt.date(2024, 4, 9), window="Early", heard={1: {peeper: 3, toad: 1}}
    )
    make_accepted_visit(
        route,
        person,
        night=dt.date(2024, 5, 20),
        window="Late",
        heard={1: {toad: 2}},
        state=VisitState.SUBMITTED,
        counts_in_trends=False,
    )
    return route


def cells_of(program, **options):
    table = route_years(program, today=TODAY, **options)
    (row,) = table.rows
    return dict(zip(table.years, row.cells, strict=True))


def test_all_species(program, route):
    cells = cells_of(program)
    # The season that runs is listed before anybody went out.
    assert list(cells) == [2022, 2023, 2024, 2025]
    cell = cells[2024]
    assert cell.highest_index == 3
    assert (cell.stops_detected, cell.stops_listened) == (2, 3)
    # Two visits in one window: two visits of effort, one window done of the two due.
    assert (cell.visits, cell.periods) == (2, 5)
    assert (cell.windows_done, cell.windows_due) == (1, 2)
    assert not cell.gap


def test_listened_and_silent_is_index_0_and_nobody_listened_is_a_gap(program, route):
    cells = cells_of(program)
    assert (cells[2022].highest_index, cells[2022].stops_listened) == (0, 3)
    assert cells[2023].highest_index is None
    assert cells[2023].gap
    assert (cells[2023].windows_done, cells[2023].windows_due) == (0, 2)


def test_one_species(program, route, species):
    toad = cells_of(program, species=species[1])[2024]
    assert (toad.highest_index, toad.stops_detected, toad.stops_listened) == (1, 2, 3)
    assert (toad.visits, toad.periods) == (2, 5)


def test_missing_for_the_species_is_neither_heard_nor_listened(program, route, species):
    peeper, toad = species
    CallIndex.objects.filter(species=peeper).update(counts_in_trends=False)
    cell = cells_of(program, species=peeper)[2024]
    assert (cell.highest_index, cell.stops_detected, cell.stops_listened) == (0, 0, 2)
    assert cell.periods == 3
    # The periods stay in the effort of all species together.
    assert cells_of(program)[2024].periods == 5
    assert cells_of(program, species=toad)[2024].periods == 5


def test_a_stop_where_nothing_that_was_heard_counts_is_not_one_with_a_detection(program, route):
    CallIndex.objects.update(counts_in_trends=False)
    cell = cells_of(program)[2024]
    assert (cell.highest_index, cell.stops_detected, cell.stops_listened) == (0, 0, 3)


def test_before_the_species_was_listed_nobody_listened_for_it(program, route, species):
    ChecklistEntry.objects.filter(species=species[0]).update(listed_from=dt.date(2024, 1, 1))
    cells = cells_of(program, species=species[0])
    assert cells[2022].highest_index is None
    assert cells[2024].highest_index == 3


def test_heard_off_the_checklist_is_shown_where_it_was_heard(program, observer, route):
    stranger = make_species("Lithobates sylvaticus")
    make_accepted_visit(route, observer.person, night=dt.date(2024, 6, 1), heard={2: {stranger: 2}})
    cell = cells_of(program, species=stranger)[2024]
    assert (cell.highest_index, cell.stops_detected, cell.stops_listened) == (2, 1, 1)


def test_a_window_still_open_is_no_gap(program, route):
    other = make_route(program, version=None, stops=1)
    table = route_years(program, today=dt.date(2024, 3, 20))
    row = next(row for row in table.rows if row.route_id == other.pk)
    cells = dict(zip(table.years, row.cells, strict=True))
    assert cells[2023].gap
    assert not cells[2024].gap


def test_nothing_due_before_the_stops_were_opened(program, route):
    Stop.objects.filter(route=route).update(active_from=dt.date(2024, 1, 1))
    cells = cells_of(program)
    assert cells[2023] is None
    assert (cells[2022].visits, cells[2022].windows_due) == (1, 0)


def test_a_stop_that_was_closed_ends_nothing_while_others_are_open(program, route):
    Stop.objects.filter(route=route, number=1).update(active_until=dt.date(2022, 12, 31))
    assert cells_of(program)[2023].windows_due == 2
    Stop.objects.filter(route=route).update(active_until=dt.date(2022, 12, 31))
    assert cells_of(program)[2023] is None


def test_a_row_says_which_route_it_is_of(program, route):
    (row,) = route_years(program, today=TODAY).rows
    assert (row.route_id, row.code, row.name, row.region) == (
        route.pk, route.code, route.name, "Lowlands",
    )  # fmt: skip


def test_a_closed_route_owes_nothing_after_its_last_visit(program, route):
    route.active = False
    route.save()
    later = make_route(program, stops=1)
    make_accepted_visit(later, route.visits.first().observer, night=dt.date(2025, 4, 1))
    table = route_years(program, today=TODAY)
    row = next(row for row in table.rows if row.route_id == route.pk)
    assert row.cells[table.years.index(2023)].gap
    assert row.cells[table.years.index(2025)] is None


def test_a_season_across_new_year_is_one_cell(program, observer):
    version = make_version(
        program,
        season_begins_month=9,
        windows=[
            {
                "name": "Winter",
                "opens_month": 12,
                "opens_day": 15,
                "closes_month": 2,
                "closes_day": 15,
            },
        ],
    )
    route = make_route(program, version=version, stops=2)
    (ornate,) = make_checklist(program, "Pseudacris ornata")
    for night in (dt.date(2023, 12, 28), dt.date(2024, 1, 9)):
        make_accepted_visit(
            route,
            observer.person,
            night=night,
            season_year=2024,
            window="Winter",
            heard={1: {ornate: 1}},
        )
    cell = cells_of(program)[2024]
    assert (cell.season_year, cell.visits, cell.windows_done, cell.windows_due) == (2024, 2, 1, 1)


def test_filters_and_scope(program, route):
    make_route(program, stops=1, region="Uplands")
    assert [row.code for row in route_years(program, region="Lowlands").rows] == [route.code]
    assert route_years(program, first_year=2023, last_year=2023).years == (2023,)
    assert season_years(make_program()) == ()


def test_query_count_does_not_grow_with_routes(program, route, observer, django_assert_num_queries):
    for _ in range(4):
        other = make_route(program, stops=2)
        make_accepted_visit(other, observer.person, night=dt.date(2024, 4, 4))
    with django_assert_num_queries(8):
        route_years(program, today=TODAY)
