"""Lists of visits, and the grid of one."""

import datetime as dt

import pytest

from surveys.models import (
    CallIndex,
    ChecklistEntry,
    ListeningPeriod,
    Visit,
    VisitState,
)
from surveys.seasons.visits import (
    visit_grid,
    visits_of,
)
from tests.support.builders import (
    make_accepted_visit,
    make_checklist,
    make_joint_entry,
    make_route,
    make_species,
)

pytestmark = pytest.mark.django_db


@pytest.fixture
def species(program):
    return make_checklist(program, "Pseudacris crucifer", "Anaxyrus americanus")


@pytest.fixture
def visit(program, observer, species):
    """Four stops: 1 heard, 2 silent, 3 skipped, 4 not reached."""
    peeper, toad = species
    visit = make_accepted_visit(
        make_route(program, stops=4),
        observer.person,
        night=dt.date(2024, 4, 1),
        heard={1: {peeper: 3, toad: 1}},
        skipped=frozenset({3}),
    )
    ListeningPeriod.objects.filter(visit=visit, stop__number=4).delete()
    return visit


def values(visit):
    return [[cell.value for cell in row.cells] for row in visit_grid(visit).rows]


def test_grid_tells_zero_skipped_and_not_reached_apart(visit):
    assert values(visit) == [[3, 1], [0, 0], ["skipped"] * 2, ["not-reached"] * 2]


def test_grid_shows_what_review_left_out(visit, species):
    CallIndex.objects.filter(species=species[1]).update(counts_in_trends=False)
    first, second, *_ = visit_grid(visit).rows
    assert [cell.left_out for cell in first.cells] == [False, True]
    ListeningPeriod.objects.filter(visit=visit, stop__number=2).update(counts_in_trends=False)
    assert [row.left_out for row in visit_grid(visit).rows] == [False, True, False, False]
    assert not second.left_out


def test_not_sure_and_off_the_checklist(visit, species):
    stranger = make_species("Lithobates sylvaticus")
    period = ListeningPeriod.objects.get(visit=visit, stop__number=1)
    CallIndex.objects.create(period=period, species=stranger, index=2)
    CallIndex.objects.filter(species=species[1]).update(
        index=None, not_sure=True, counts_in_trends=False
    )
    assert values(visit)[:2] == [[3, "not-sure", 2], [0, 0, None]]


def test_a_species_listed_later_has_no_column_that_night(visit, species):
    ChecklistEntry.objects.filter(species=species[0]).update(listed_from=dt.date(2024, 4, 2))
    grid = visit_grid(visit)
    # Heard all the same, so it comes last, without zeros.
    assert [one.scientific_name for one in grid.species] == [
        "Anaxyrus americanus",
        "Pseudacris crucifer",
    ]
    assert values(visit)[:2] == [[1, 3], [0, None]]


def test_a_joint_entry_leaves_its_species_open_and_they_speak_for_it(program, visit, species):
    """As in the views of what counts: no zero where another entry of the group was written down."""
    peeper, toad = species
    joint = make_joint_entry("Peeper or toad", peeper, toad)
    ChecklistEntry.objects.create(program=program, species=joint, order=9)
    second = ListeningPeriod.objects.get(visit=visit, stop__number=2)
    CallIndex.objects.create(period=second, species=joint, index=2)
    assert values(visit)[:2] == [[3, 1, None], [None, None, 2]]
    CallIndex.objects.filter(period=second).delete()
    CallIndex.objects.filter(species=toad).delete()
    assert values(visit)[:2] == [[3, 0, None], [0, 0, 0]]
    (row,) = visits_of(Visit.objects.all(), species=joint)
    assert (row.stops_detected, row.highest_index) == (1, 3)


def test_grid_query_count(visit, django_assert_num_queries):
    with django_assert_num_queries(5):
        visit_grid(visit)


def test_list_counts_what_was_written_down(program, visit, species):
    (row,) = visits_of(
        Visit.objects.filter(route__program=program), route_code=visit.route.code, season_year=2024
    )
    assert (row.stops_listened, row.stops_detected, row.highest_index) == (2, 1, 3)
    (row,) = visits_of(Visit.objects.all(), species=species[1])
    assert (row.stops_detected, row.highest_index) == (1, 1)


def test_list_filters(program, observer, visit):
    for state in (VisitState.DRAFT, VisitState.SUBMITTED):
        make_accepted_visit(
            visit.route,
            observer.person,
            night=dt.date(2025, 5, 1),
            window="Late",
            state=state,
            counts_in_trends=False,
        )
    assert [v.state for v in visits_of(Visit.objects.all())] == [
        "submitted",
        "accepted",
    ]
    assert [v.state for v in visits_of(Visit.objects.all(), window="Late")] == ["submitted"]
    assert list(visits_of(Visit.objects.all(), first_year=2025, last_year=2024)) == []


def test_species_off_the_checklist_follow_in_order_of_their_names(visit):
    period = ListeningPeriod.objects.get(visit=visit, stop__number=1)
    for name, common in (("Aaa bbb", "Zebra Frog"), ("Ccc ddd", "Amber Frog")):
        species = make_species(name, common)
        CallIndex.objects.create(period=period, species=species, index=1)
    names = [species.common_name for species in visit_grid(visit).species]
    assert names[-2:] == ["Amber Frog", "Zebra Frog"]
