"""The history of a program: who changed what, when, from what to what, and undoing it."""

import datetime as dt

import pghistory
import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.http import Http404
from django.utils import timezone
from pghistory.models import Context

from accounts.erasing import erase
from accounts.models import Role
from accounts.past_observers import add_past_observers, merge
from accounts.people import change_role
from surveys.models import Assignment, Route, Step, Stop
from surveys.programs.assignments import assign, unassign
from surveys.programs.history import KIND_LABELS, HistoryFilters, Place, act_in_words, history
from surveys.programs.routes import save_route
from surveys.programs.setting_up import change_facts
from surveys.programs.undoing import may_undo, undo
from surveys.visits import verbs
from tests.support.builders import make_checklist, make_member, make_program, make_route
from tests.support.sheets import make_submitted, plain_cells

ALL = HistoryFilters()


@pytest.fixture
def act(coordinator):
    """Do something as the coordinator, as a request of theirs does."""

    def carry_out(verb, *args, **facts):
        with pghistory.context(user=coordinator.person_id):
            return verb(coordinator, *args, **facts)

    return carry_out


def facts_of(program, **changes):
    names = ("name", "region", "country_code", "calling_region", "time_zone", "temperature_unit",
             "distance_unit", "clock_style", "date_order", "contact_email", "emergency_number",
             "emergency_contact", "local_rules")  # fmt: skip
    return {name: getattr(program, name) for name in names} | changes


def latest(member, **filters):
    entries, _ = history(member, HistoryFilters(**filters), size=30)
    return entries


@pytest.fixture
def route(program):
    return make_route(program, code="R01", name="Alder Marsh", stops=8)


def test_change_is_told_from_what_to_what_with_who(act, coordinator, program):
    act(change_facts, **facts_of(program, contact_email="frogs@example.org", date_order="ymd"))
    entry = latest(coordinator, kind="program")[0]
    assert entry.by == coordinator.person
    assert act_in_words(entry) == "Changed"
    assert [(one.label, one.now) for one in entry.changes] == [
        ("Dates", "Year first: 2024-04-15"),
        ("Contact email", "frogs@example.org"),
    ]


def test_what_one_act_did_to_many_things_is_one_entry(coordinator, route):
    (entry,) = latest(coordinator, kind="stops")
    assert (entry.act, entry.number, len(entry.things)) == ("insert", 8, 5)
    assert entry.things[0] == "R01, stop 1"
    assert not may_undo(entry)


def test_steps_on_visits_stand_in_the_history_in_words(coordinator, observer, route, program):
    make_checklist(program)
    visit = make_submitted(observer, route, plain_cells() | {"stops.2.finished_at": "21:13"})
    finding = visit.findings.get(code="listening-too-short")
    verbs.settle(
        coordinator, finding.pk, settlement="counts", reason="Slip.", revision=visit.revision
    )
    settled, submitted, *_ = latest(coordinator, kind="visits")
    assert act_in_words(settled) == "Question resolved"
    assert settled.things == ("R01, night of 15 April 2024",)
    assert (settled.by, submitted.by) == (coordinator.person, observer.person)
    assert submitted.act == Step.SUBMITTED


def test_pages_hold_every_entry_once(act, coordinator, observer, program, route):
    for number in range(4):
        act(change_facts, **facts_of(program, region=f"Region {number}"))
        act(save_route, route_id=route.pk, code="R01", name=f"Marsh {number}", region="",
            protocol_id=route.protocol_id, access_notes="", active=True)  # fmt: skip
    make_checklist(program)
    make_submitted(observer, route, plain_cells())
    everything, end = history(coordinator, ALL, size=100)
    assert end is None
    walked, after = [], None
    while True:
        page, after = history(coordinator, ALL, size=2, after=Place.read(str(after or "")))
        walked += page
        if after is None:
            break
    assert [entry.place for entry in walked] == [entry.place for entry in everything]
    assert len(everything) > 12
    assert {entry.kind for entry in everything} > {"program", "routes", "stops", "visits"}


def test_filters(act, coordinator, program, route):
    act(change_facts, **facts_of(program, region="North"))
    assert {entry.kind for entry in latest(coordinator, person=coordinator.person_id)} == {
        "program"
    }
    now = timezone.now()
    assert latest(coordinator, since=now + dt.timedelta(days=1)) == []
    assert latest(coordinator, until=now - dt.timedelta(days=1)) == []
    assert latest(coordinator, since=now - dt.timedelta(days=1))
    for kind in KIND_LABELS:
        assert {entry.kind for entry in latest(coordinator, kind=kind)} <= {kind}


def test_other_programs_and_other_roles_see_nothing(coordinator, observer, route):
    other = make_member(make_program(), Role.COORDINATOR)
    kinds = {entry.kind for entry in latest(other)}
    assert kinds == {"program", "people"}
    with pytest.raises(PermissionDenied):
        history(observer, ALL, size=5)


def test_undoing_a_detail_sets_back_that_detail_only(act, coordinator, program):
    was = program.region
    act(change_facts, **facts_of(program, region="North"))
    program.refresh_from_db()
    act(change_facts, **facts_of(program, contact_email="frogs@example.org"))
    entry = next(
        one for one in latest(coordinator, kind="program") if one.changes[0].now == "North"
    )
    assert may_undo(entry)
    act(undo, entry.kind, entry.event)
    program.refresh_from_db()
    assert (program.region, program.contact_email) == (was, "frogs@example.org")
    with pytest.raises(ValidationError, match="changed again since"):
        act(undo, entry.kind, entry.event)


def test_undoing_a_name_and_an_assignment(act, coordinator, observer, route):
    act(save_route, route_id=route.pk, code="R01", name="Birch Marsh", region="",
        protocol_id=route.protocol_id, access_notes="", active=True)  # fmt: skip
    renamed = latest(coordinator, kind="routes")[0]
    assert [(one.before, one.now) for one in renamed.changes if one.label == "Name"] == [
        ("Alder Marsh", "Birch Marsh")
    ]
    act(undo, "routes", renamed.event)
    assert Route.objects.get(pk=route.pk).name == "Alder Marsh"

    given = act(assign, route_id=route.pk, observer_id=observer.person_id, season_year=2024)
    added = latest(coordinator, kind="assignments")[0]
    assert added.things == (f"R01: {observer.person.name}, 2024",)
    act(undo, "assignments", added.event)
    assert not Assignment.objects.exists()
    removed = latest(coordinator, kind="assignments")[0]
    assert removed.act == "delete"
    act(undo, "assignments", removed.event)
    assert Assignment.objects.get().observer == observer.person
    with pytest.raises(ValidationError, match="changed again since"):
        act(undo, "assignments", removed.event)
    act(unassign, Assignment.objects.get().pk)
    assert given.pk


def test_rights_are_not_undone_and_events_of_others_are_not_found(act, coordinator, observer):
    act(change_role, observer.pk, Role.PARTNER)
    changed = latest(coordinator, kind="people")[0]
    assert [(one.before, one.now) for one in changed.changes] == [("Observer", "Partner")]
    assert not may_undo(changed)
    with pytest.raises(Http404):
        act(undo, "people", changed.event)
    elsewhere = make_route(make_program(), code="R01")
    with pytest.raises(Http404):
        act(undo, "routes", elsewhere.events.latest("pk").pk)
    with pytest.raises(PermissionDenied):
        undo(observer, "routes", 1)


def test_what_is_no_place_is_the_beginning():
    for text in ("", "x", "2024-01-01~1~1", "2024-01-01T00:00:00+00:00~1~-1", "~~", "é~1~1"):
        assert Place.read(text) is None


def test_what_changed_in_many_things_is_told_once_for_all(act, coordinator, route):
    """One day for all stops, another county for each, a road for one."""
    stops = list(route.stops.order_by("number"))
    for number, stop in enumerate(stops):
        stop.active_from = dt.date(2012, 4, 16)
        stop.county = f"County {number}"
    stops[0].road = "Mill Road"
    act(lambda member: Stop.objects.bulk_update(stops, ["active_from", "county", "road"]))
    entry = latest(coordinator, kind="stops")[0]
    assert (entry.act, entry.number) == ("update", 8)
    assert [(one.label, one.before, one.now) for one in entry.changes] == [
        ("Nearest road", "blank", "Mill Road"),
        ("County", "blank", "County 0 and 7 others"),
        ("First night", "1 January 2000", "16 April 2012"),
    ]


def test_who_was_merged_into_whom_is_told_until_they_are_erased(act, coordinator, program):
    add_past_observers(coordinator, ["R. Alder", "Rowan Alder"])
    short, whole = program.memberships.filter(person__email=None).order_by("pk")
    act(merge, short.pk, into=whole.pk)
    deleted = latest(coordinator, kind="people")[0]
    assert (deleted.act, deleted.things) == ("delete", ("R. Alder, merged into Rowan Alder",))
    act(erase, whole.pk)
    told = [entry.things for entry in latest(coordinator, kind="people") if entry.act == "delete"]
    assert told == [("someone whose name is not kept",)]
    assert not Context.objects.filter(metadata__icontains="Alder").exists()
