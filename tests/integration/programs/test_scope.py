"""Setting up a program beside another one: nothing of the neighbor is seen, counted or changed.

The neighbor has more of everything, and the same codes and species.
"""

import datetime as dt

import pytest
from django.http import Http404

from accounts.models import Membership, Role
from surveys.models import Assignment, ChecklistEntry
from surveys.programs.assignments import (
    assign,
    assignments_of,
    current_season_year,
    observers_of,
    repeat_assignments,
    season_years,
    unassign,
)
from surveys.programs.checklist import (
    Listing,
    add_species,
    change_entry,
    first_night_to_list,
    move_entry,
)
from surveys.programs.routes import routes_of, save_route
from surveys.programs.setting_up import standing
from tests.support.builders import (
    make_accepted_visit,
    make_checklist,
    make_member,
    make_program,
    make_route,
    make_version,
)

pytestmark = pytest.mark.django_db
NIGHT, YEAR = dt.date(2024, 4, 15), 2024
LISTING = Listing()


class Beside:
    """A program of three routes in a season that began in September, with one observer who also
    surveys here."""

    def __init__(self, observer: Membership) -> None:
        self.program = make_program()
        self.coordinator = make_member(self.program, Role.COORDINATOR)
        self.observer = make_member(self.program, person=observer.person)
        self.others = [make_member(self.program) for _ in range(2)]
        self.version = make_version(self.program, season_begins_month=9)
        self.routes = [
            make_route(self.program, version=self.version, code=f"R{number:02}", stops=2)
            for number in range(1, 4)
        ]
        self.species = make_checklist(self.program, "Hyla versicolor", "Anaxyrus americanus")
        make_accepted_visit(self.routes[0], observer.person, night=NIGHT)
        self.assignments = [
            Assignment.objects.create(route=route, observer=observer.person, season_year=year)
            for route in self.routes
            for year in (2019, YEAR - 1, YEAR)
        ]


@pytest.fixture
def beside(observer):
    return Beside(observer)


@pytest.fixture
def route(program, beside):
    return make_route(program, code="R07", stops=1)


def test_season_years_and_people(program, coordinator, observer, route, beside):
    assert current_season_year(program, dt.date(2024, 10, 1)) == 2024
    assert current_season_year(beside.program, dt.date(2024, 10, 1)) == 2025
    assert 2019 not in season_years(program)
    assert 2019 in season_years(beside.program)
    people = {member.pk for member in observers_of(program)}
    assert people == {coordinator.pk, observer.pk}


def test_routes_and_their_assignments(program, observer, route, beside):
    assert list(routes_of(program)) == [route]
    (row,) = assignments_of(program, YEAR)
    assert (row.route, row.assignments) == (route, ())
    own = Assignment.objects.create(route=route, observer=observer.person, season_year=YEAR)
    Assignment.objects.filter(pk=own.pk).update(season_year=YEAR)
    (row,) = assignments_of(program, YEAR)
    assert row.assignments == (own,)


def test_a_route_of_the_neighbor_is_not_assigned_nor_taken_away(coordinator, observer, beside):
    theirs = beside.routes[0]
    with pytest.raises(Http404):
        assign(coordinator, route_id=theirs.pk, observer_id=observer.person_id, season_year=2023)
    with pytest.raises(Http404):
        unassign(coordinator, beside.assignments[0].pk)
    assert Assignment.objects.count() == len(beside.assignments)


def test_a_person_of_the_neighbor_is_not_assigned(coordinator, route, beside):
    stranger = beside.others[0].person_id
    with pytest.raises(Http404):
        assign(coordinator, route_id=route.pk, observer_id=stranger, season_year=YEAR)


def test_the_neighbors_assignments_are_not_repeated(coordinator, route, beside):
    Assignment.objects.filter(season_year=YEAR).delete()
    assert repeat_assignments(coordinator, season_year=YEAR) == 0
    assert not Assignment.objects.filter(season_year=YEAR).exists()


def test_a_code_may_be_used_in_both(coordinator, route, beside):
    version = route.protocol.versions.get()
    saved = save_route(
        coordinator, code="R01", name="Alder Fen", region="", protocol_id=version.protocol_id,
        access_notes="", active=True,
    )  # fmt: skip
    assert saved.program == coordinator.program
    with pytest.raises(Http404):
        save_route(
            coordinator, code="R02", name="Alder Fen", region="",
            protocol_id=beside.version.protocol_id, access_notes="", active=True,
        )  # fmt: skip


def test_a_checklist_of_its_own(program, coordinator, beside):
    entry = add_species(coordinator, beside.species[0].code, LISTING)
    assert (entry.program, entry.order) == (program, 1)
    second = add_species(coordinator, beside.species[1].code, LISTING)
    before = list(ChecklistEntry.objects.filter(program=beside.program).order_by("pk").values())
    move_entry(coordinator, second.pk, up=True)
    entries = ChecklistEntry.objects.filter(program=program).order_by("order")
    assert [row.pk for row in entries] == [second.pk, entry.pk]
    after = list(ChecklistEntry.objects.filter(program=beside.program).order_by("pk").values())
    assert after == before


def test_visits_of_the_neighbor_bind_no_listing(program, coordinator, beside):
    today = dt.date(2024, 7, 1)
    assert first_night_to_list(program, today) is None
    assert first_night_to_list(beside.program, today) == today
    code = beside.species[0].code
    listing = Listing(
        listed_from=None, listed_until=dt.date(2024, 1, 1), season=None, sensitivity=0
    )
    entry = add_species(coordinator, code, listing)
    longer = change_entry(coordinator, entry.pk, LISTING)
    assert longer.listed_until is None


def test_what_a_program_still_lacks_is_counted_in_it_alone(program, observer, route, beside):
    found = standing(program, YEAR)
    assert (found.protocols, found.routes, found.species, found.observers) == (1, 1, 0, 1)
    assert (found.routes_without_stops, found.assigned_routes) == (0, 0)
