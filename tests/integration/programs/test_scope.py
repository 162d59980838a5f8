"""Setting up a program beside another one: nothing of the neighbor is seen, counted or changed.

The neighbor has more of everything, and the same codes and species.
"""

import datetime as dt

import pghistory
import pytest
from django.core.exceptions import ValidationError
from django.core.management import CommandError, call_command
from django.http import Http404
from django.utils import timezone

from accounts.edit_conflicts import EditConflict, Seen
from accounts.invitations import check_invite
from accounts.models import Invitation, Membership, Role
from surveys.fitting.refit import refit
from surveys.management.demo_publications import request_missing
from surveys.models import (
    Assignment,
    BackgroundRun,
    CallingRegion,
    ChecklistEntry,
    RunKind,
    RunState,
    SpeciesInRegion,
    StoredFinding,
    VisitState,
)
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
    take_off,
)
from surveys.programs.protocols import add_version, start_protocol, version_of
from surveys.programs.regional import regional_list
from surveys.programs.routes import routes_of, save_route
from surveys.programs.setting_up import change_facts, program_facts, standing
from surveys.programs.sharing import change_sharing, sharing_facts
from surveys.programs.stops import StopFacts, add_stop
from surveys.programs.versions import protocol_values
from surveys.protocol.values import Place
from surveys.runs.enqueue import enqueue_unless_queued, give_up_lost
from surveys.visits.drafts import start_visit
from surveys.visits.exceptions import NotYours
from surveys.visits.verbs import settle
from tests.integration.programs.test_setting_up import facts
from tests.support.builders import (
    make_accepted_visit,
    make_checklist,
    make_member,
    make_person,
    make_program,
    make_route,
    make_version,
)
from tests.support.runs import make_publishing_run

pytestmark = pytest.mark.django_db
NIGHT, YEAR = dt.date(2024, 4, 15), 2024
LISTING = Listing()
PLACE = Place(latitude=43.08, longitude=-89.4)


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


def test_verbs_do_not_reach_rows_of_the_neighbor(coordinator, beside):
    """By their ids, with nothing else that could be refused."""
    entry = beside.program.checklist.first()
    stop = StopFacts(name="By the culvert")
    limits = protocol_values(beside.version)
    attempts = (
        lambda: change_entry(coordinator, entry.pk, LISTING),
        lambda: take_off(coordinator, entry.pk, listed_until=NIGHT),
        lambda: move_entry(coordinator, entry.pk, up=True),
        lambda: add_version(
            coordinator, beside.version.protocol_id, limits=limits, in_force_from=NIGHT
        ),
        lambda: add_stop(
            coordinator, beside.routes[0].pk, number=9, place=PLACE, active_from=NIGHT, facts=stop
        ),
        lambda: version_of(coordinator.program, beside.version.pk),
    )
    for attempt in attempts:
        with pytest.raises(Http404):
            attempt()


def test_a_query_of_the_neighbor_is_not_resolved(coordinator, beside):
    finding = StoredFinding.objects.create(
        visit=make_accepted_visit(
            beside.routes[1], beside.observer.person, state=VisitState.SUBMITTED,
            counts_in_trends=False,
        ),
        code="too-cold", severity="query", message_as_stored="Cold.",
    )  # fmt: skip
    with pytest.raises(NotYours):
        settle(coordinator, finding.pk, settlement="counts", reason="Fine.", revision=1)


def test_a_name_of_the_neighbor_is_free(coordinator, beside):
    limits = protocol_values(beside.version)
    started = start_protocol(coordinator, limits=limits, in_force_from=NIGHT)
    assert started.protocol.name == beside.version.protocol.name
    assert started.protocol.program == coordinator.program


def test_a_version_of_the_neighbor_judges_no_visit(observer, route, beside):
    visit = start_visit(observer, route=route, night=NIGHT, carried_version_id=beside.version.pk)
    assert visit.protocol_version == route.protocol.versions.get()


def test_stops_of_the_neighbor_are_no_measure_of_the_first_place(coordinator, beside):
    """The longitude has another sign than theirs, which a slip of the hand would explain."""
    route = make_route(coordinator.program, stops=0)
    theirs = beside.routes[0].stops.first().place
    stop = add_stop(
        coordinator, route.pk, number=1, active_from=NIGHT, facts=StopFacts(name="East"),
        place=Place(latitude=theirs.y, longitude=-theirs.x),
    )  # fmt: skip
    assert stop.place.x == -theirs.x


def test_visits_of_the_neighbor_do_not_bind_the_time_zone(coordinator, beside):
    change_facts(coordinator, **facts(coordinator.program, time_zone="Europe/Berlin"))
    coordinator.program.refresh_from_db()
    assert coordinator.program.time_zone == "Europe/Berlin"


@pytest.mark.parametrize("verb", ["facts", "sharing"])
def test_who_changed_the_neighbor_is_not_named(program, coordinator, beside, verb):
    asked = {
        "facts": lambda member, **more: change_facts(
            member, **facts(member.program, region="Fen"), **more
        ),
        "sharing": lambda member, **more: change_sharing(
            member, place_sharing=2, publication_audience="public",
            data_license=member.program.data_license, **more,
        ),
    }[verb]  # fmt: skip
    shown = {"facts": program_facts, "sharing": sharing_facts}[verb](program)
    seen = Seen(facts=shown, at=timezone.now())
    ours = make_member(program, Role.COORDINATOR, person=make_person("Wren Oakley"))
    for member in (ours, beside.coordinator):
        with pghistory.context(user=member.person_id):
            asked(member)
    with pytest.raises(EditConflict) as refused:
        asked(coordinator, seen=seen)
    assert refused.value.by == ("Wren Oakley",)


def test_species_of_the_region_that_the_neighbor_lists_are_offered(program, beside):
    region = CallingRegion.objects.create(code="marshes", name="Marshes")
    for species in beside.species:
        SpeciesInRegion.objects.create(region=region, species=species, mark="sure")
    program.calling_region = region
    assert {row.species for row in regional_list(program)} == set(beside.species)


def test_people_of_the_neighbor_may_be_invited(program, beside):
    Invitation.objects.create(
        program=beside.program, email="new@example.org", role=Role.OBSERVER, token_hash="0" * 64,
        invited_by=beside.coordinator.person, expires_at=timezone.now(),
    )  # fmt: skip
    check_invite(program, "new@example.org")
    check_invite(program, beside.others[0].person.email)
    with pytest.raises(ValidationError):
        check_invite(beside.program, "new@example.org")


def test_work_for_the_neighbor_is_not_taken_for_ones_own(program, beside):
    """A fit that waits there is no fit here, and a run that was lost there is left alone."""
    waiting = enqueue_unless_queued(RunKind.FIT, beside.program.pk, subject="fits")
    own = enqueue_unless_queued(RunKind.FIT, program.pk, subject="fits")
    assert (own.program, own.pk != waiting.pk) == (program, True)
    lost = make_publishing_run(
        beside.program, YEAR, beside.coordinator.person, state=RunState.RUNNING
    )
    assert give_up_lost(program.pk, lost.subject) == 0
    assert give_up_lost(beside.program.pk, lost.subject) == 1


def test_fits_of_the_neighbor_stay(program, observer, route, beside):
    refit(beside.program)
    fits = list(beside.program.fits.order_by("pk").values())
    assert fits
    (species,) = make_checklist(program, "Pseudacris crucifer")
    make_accepted_visit(route, observer.person, night=NIGHT)
    refit(program)
    assert list(beside.program.fits.order_by("pk").values()) == fits
    assert {fit.species for fit in program.fits.all()} == {species}


def test_the_demo_publishes_in_the_name_of_its_own_coordinator(beside, coordinator, observer):
    make_accepted_visit(make_route(coordinator.program), observer.person, night=NIGHT)
    request_missing([coordinator.program.slug], dt.date(2026, 1, 1), "")
    run = BackgroundRun.objects.get(kind=RunKind.PUBLISH)
    assert (run.program, run.asked_by) == (coordinator.program, coordinator.person)


def test_the_command_prints_trends_of_the_own_checklist(program, beside, capsys):
    make_checklist(program, "Pseudacris crucifer")
    with pytest.raises(CommandError, match="Not on the checklist"):
        call_command("trends", program.slug, species=[beside.species[0].code])
