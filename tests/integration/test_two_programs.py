"""A program beside another one: no address shows or changes anything of the neighbor.

Every URL is asked for by the roles of `test_access`, in a world of one of everything. The
neighbor has more of everything, the same people, route codes and species.
"""

import datetime as dt
import json
import re
import uuid
from collections.abc import Callable, Iterator
from copy import deepcopy

import pytest
from django.db import transaction
from django.test import Client
from django.utils import timezone

from accounts.models import Role
from accounts.security_log import Act, security_acts
from surveys.fitting.histories import load_periods
from surveys.fitting.stored import progress as fit_progress
from surveys.importing.build import _people
from surveys.models import (
    Assignment,
    BackgroundRun,
    CallIndex,
    ChecklistEntry,
    Confirmation,
    ExactDownload,
    ListeningPeriod,
    Program,
    Route,
    RunKind,
    RunState,
    Species,
    Visit,
    VisitState,
)
from surveys.programs.setting_up import standing as set_up_status
from surveys.publishing.closing import last_closed_season, open_visits, unsettled_queries
from surveys.publishing.freeze import _checklist, versions_used
from surveys.publishing.publish import latest, preview
from surveys.runs.enqueue import latest_run
from surveys.seasons.coverage import coverage
from surveys.seasons.joint_entries import told_in_groups
from surveys.visits.bulk import program_snapshot
from surveys.web.program.route_views import stops_around
from tests.integration.test_access import (
    World,
    address,
    make_world,
    pattern_of,
    rows,
)
from tests.support.builders import (
    make_accepted_visit,
    make_checklist,
    make_joint_entry,
    make_member,
    make_program,
    make_route,
    make_species,
    make_study,
    make_version,
)
from tests.support.runs import make_publishing_run
from tests.support.sounds import keep, sound

pytestmark = pytest.mark.django_db

INSIDE = ("partner", "observer", "coordinator")
# Names of rows of one program, as URLs have them. The others are shared, or are numbers and names
# that mean something in each program.
IDS = frozenset(
    {
        "assignment",
        "code",
        "confirmation",
        "confirmation_id",
        "entry",
        "finding",
        "finding_id",
        "handle",
        "invitation",
        "link",
        "own_species",
        "membership",
        "recording_id",
        "route",
        "run_id",
        "season_year",
        "stop",
        "study_id",
        "upload",
        "version_id",
        "visit",
        "visit_id",
    }
)
SPECIES = ("Lithobates capito", "Hyla versicolor", "Anaxyrus boreas")
# Have the code of something else than a route in their address.
BY_SPECIES_OR_RULE = ("web:rule", "web:trend_")
# Say that there is no such visit on the page of the sheet, which is not there either.
BACK_TO_THE_SHEET = ("web:sheet_photo", "web:sheet_recording")
# Show the visit again and say that the question or the confirmation is gone.
REFUSED = {"web:settle": 409, "web:take_back": 409}
# Asked for beside the bare address where its answer needs them.
QUERIES = {
    "api:coverage": ("?season_year=2024",),
    "api:records_export": ("?format=json",),
    "web:program_assignments": ("?season=2024", "?season=2025"),
    "web:program_species_search": ("?q=capito", "?q=crucifer", "?q=hyperolius"),
    "web:season_coverage": ("?year=2024",),
    "web:trend_compare": ("", "?by=route&route={code}"),
}


@pytest.fixture(scope="module")
def worlds(module_rows):
    """A program, what it answered before it had a neighbor, and the neighbor.

    The rows of the neighbor's program and of one of its routes are older, so that they would be
    the first where a query sees both.
    """
    older = make_program(region="Elsewhere", place_sharing=2)
    route = make_route(older, version=make_version(older, season_begins_month=9), stops=9)
    program = make_program()
    here = make_world(
        *(make_member(program, role) for role in (Role.PARTNER, Role.OBSERVER, Role.COORDINATOR))
    )
    for name in SPECIES:  # The catalog is shared.
        make_species(name)
    joint = make_joint_entry("Hyla versicolor/chrysoscelis", make_species(SPECIES[1]))
    of_both = make_joint_entry("Pseudacris crucifer/ornata", make_species("Pseudacris crucifer"))
    ChecklistEntry.objects.create(program=program, species=joint, order=9)
    # Of this group the neighbor has records of the member.
    member = make_species(SPECIES[0])
    group = make_joint_entry("Lithobates capito/sevosus", member)
    for order, species in enumerate((group, member), start=10):
        ChecklistEntry.objects.create(program=program, species=species, order=order)
    listened = ListeningPeriod.objects.filter(visit__route__program=program)
    period = listened.filter(counts_in_trends=True)[0]
    for species in (joint, group):
        CallIndex.objects.create(period=period, species=species, index=2, counts_in_trends=True)
    before = {role: _answers(here, role) for role in INSIDE}
    before["facts"] = {name: repr(read(program)) for name, read in FACTS.items()}
    return here, before, _neighbor_of(here, route, joint, of_both)


@pytest.fixture
def here(worlds) -> World:
    return deepcopy(worlds[0])


@pytest.fixture
def there(worlds) -> World:
    return deepcopy(worlds[2])


def _neighbor_of(here: World, same_code: Route, *joint: Species) -> World:
    program = same_code.program
    people = {role: here.members[role].person for role in INSIDE}
    partner, observer, coordinator = (
        make_member(program, Role(role), person=people[role], trained_on=dt.date(2020, 1, 1))
        for role in INSIDE
    )
    there = make_world(partner, observer, coordinator)
    stranger = make_member(program)
    species = make_checklist(program, *SPECIES)
    program.checklist.filter(species=species[2]).update(
        listed_from=dt.date(2020, 1, 1), listed_until=dt.date(2023, 1, 1), sensitivity=2
    )
    for order, entry in enumerate(joint, start=10):
        ChecklistEntry.objects.create(program=program, species=entry, order=order)
    same_code.code, same_code.region = here.arguments["code"], "North"
    same_code.save()
    # And one in a program that is younger than ours.
    make_route(make_program(), code=here.arguments["code"], region="South", stops=1)
    for year in (2018, 2023, 2024, 2025):
        for day in (2, 12):
            visit = make_accepted_visit(
                same_code,
                stranger.person,
                night=dt.date(year, 4, day),
                heard={1: {species[0]: 3}, 2: {species[1]: 2}},
            )
        Assignment.objects.create(route=same_code, observer=stranger.person, season_year=year)
    confirmer = make_member(program, Role.COORDINATOR)
    Confirmation.objects.create(
        call=CallIndex.objects.filter(period__visit=visit).first(),
        recording=keep(stranger, visit, sound()),
        by=confirmer.person,
        at=timezone.now(),
    )
    make_accepted_visit(
        same_code,
        observer.person,
        night=dt.date(2024, 4, 15),
        state=VisitState.SUBMITTED,
        counts_in_trends=False,
    )
    publication = program.publications.get(version=2)
    for season_year, number in ((2024, 3), (2025, 1)):
        publication.pk, publication.season_year, publication.version = None, season_year, number
        publication.save()
    make_publishing_run(program, 2024, coordinator.person, state=RunState.RUNNING)
    BackgroundRun.objects.create(
        program=program,
        kind=RunKind.FIT,
        subject="fits",
        state=RunState.RUNNING,
        started_at=timezone.now(),
    )
    confirmer.exact_places = True
    confirmer.save()
    make_study(program, species[1])
    ExactDownload.objects.create(program=program, person=coordinator.person, what="stops", path="/")
    return there


def _answers(world: World, role: str) -> dict[str, str]:
    """What this member reads at each address of the program; most that take a form show it."""
    client = Client()
    client.force_login(world.members[role].person)
    return {path: _answer(client, path) for path in _addresses(world, role)}


def _addresses(world: World, role: str) -> Iterator[str]:
    slug = world.arguments["program"]
    for name, _, who, expected in rows():
        # The log lists the sign-ins of this test, too; a question is drawn each time.
        if name in {"web:security_log", "web:practice"}:
            continue
        path = address(world, name)
        if who == role and expected == "ok" and f"/{slug}/" in path:
            for query in QUERIES.get(name, ("",)):
                yield path + query.format(**world.arguments)


def _answer(client: Client, path: str) -> str:
    with transaction.atomic():
        response = client.get(path)
        body = response.getvalue() if response.streaming else response.content
        transaction.set_rollback(True)
    return _comparable(body.decode("utf-8", "replace"))


def _comparable(body: str) -> str:
    """Without tokens and times, which are other ones each time."""
    body = re.sub(r'name="seen" value="[^"]+"', "", body)
    body = re.sub(r'(csrfmiddlewaretoken" value=|csrf-token" content=|"csrf": )"\w+"', "", body)
    return re.sub(r'"(now|made_at)": "[^"]+"', "", body)


# What is asked for where no address shows it, or not all of it.
FACTS: dict[str, Callable[[Program], object]] = {
    "published checklist": _checklist,
    "routes and windows": lambda program: coverage(program, 2024),
    "fits under way": fit_progress,
    "joint entries": told_in_groups,
    "last season": lambda program: last_closed_season(program, dt.date(2026, 1, 1)),
    "latest publication": lambda program: latest(program, 2024),
    "latest run": lambda program: latest_run(program.pk, "publication 2024"),
    "listening periods": load_periods,
    "open visits": lambda program: list(open_visits(program, 2024)),
    "people who import": lambda program: [
        sorted(part) for part in _people(program.memberships.first())
    ],
    "security acts": lambda program: [
        (act.act, act.person_id)
        for act in security_acts(program.memberships.filter(role=Role.COORDINATOR)[0])
        if act.act != Act.SIGNED_IN
    ],
    "snapshot": program_snapshot,
    "status": lambda program: set_up_status(program, 2024),
    "stops around": lambda program: list(stops_around(program)),
    "table": lambda program: preview(program, 2024),
    "unsettled": lambda program: list(unsettled_queries(program, 2024)),
    "versions used": lambda program: versions_used(program, 2024),
}


@pytest.mark.parametrize("name", FACTS)
def test_a_neighbor_changes_no_fact(worlds, here, there, name):
    program, other = (
        Program.objects.get(slug=world.arguments["program"]) for world in (here, there)
    )
    assert repr(FACTS[name](program)) == worlds[1]["facts"][name]
    assert repr(FACTS[name](other)) != worlds[1]["facts"][name]  # There is something to see.


@pytest.mark.parametrize("role", INSIDE)
def test_a_neighbor_changes_no_answer(worlds, here, role):
    before = worlds[1][role]
    after = _answers(here, role)
    differing = [path for path in before if before[path] != after[path]]
    assert not differing


def _with_a_foreign_id(here: World, there: World, name: str) -> list[World]:
    """The world here, but for one row that a URL names. Publications of 2025 are there alone."""
    pattern = pattern_of(name).pattern
    names = set(pattern.converters) or set(pattern.regex.groupindex)
    return [
        World(
            members=here.members,
            draft=there.draft if key == "visit_id" else here.draft,
            arguments={**here.arguments, key: {**there.arguments, "season_year": 2025}[key]},
        )
        for key in sorted(IDS & names)
        if not (key == "code" and name.startswith(BY_SPECIES_OR_RULE))
    ]


@pytest.mark.parametrize("role", INSIDE)
def test_rows_of_a_neighbor_are_not_there(here, there, role):
    """By their ids, in the addresses of this program."""
    client = Client()
    client.force_login(here.members[role].person)
    tried, open_ones = 0, []
    for name, method, who, expected in rows():
        if who != role or expected != "ok" or name in BACK_TO_THE_SHEET:
            continue
        for mixed in _with_a_foreign_id(here, there, name):
            with transaction.atomic():
                response = _request(client, mixed, name, method)
                transaction.set_rollback(True)
            tried += 1
            if response.status_code not in {404, REFUSED.get(name)}:
                open_ones.append(f"{method} {address(mixed, name)}: {response.status_code}")
    assert tried > 0
    assert not open_ones, "\n".join(open_ones)


def _request(client: Client, world: World, name: str, method: str):
    """With all that the verbs ask for, so that nothing but the row can be missing."""
    names = world.arguments
    revision = Visit.objects.get(pk=names["visit"]).revision
    body = {
        "revision": revision,
        "settlement": "counts",
        "reason": "Heard again.",
        "note": "Heard again.",
        "recording": str(names["recording_id"]),
        "species": names["species"],
    }
    if method == "POST" and name.startswith("web:"):
        return client.post(address(world, name), body)
    sheet = {"changes": {}, "cells": {}, "night": "2024-04-20", "route": names["code"]}
    headers = {"If-Match": f'"{revision}"', "Tus-Resumable": "1.0.0"}
    return client.generic(
        method,
        address(world, name),
        json.dumps(body | sheet),
        content_type="application/json",
        headers=headers,
    )


def test_a_visit_is_begun_on_the_own_route(here, there):
    """The neighbor has an older route of this code."""
    client = Client()
    client.force_login(here.members["observer"].person)
    visit_id = uuid.uuid4()
    path = f"/api/v1/{here.arguments['program']}/visits/{visit_id}/"
    sheet = {"route": here.arguments["code"], "night": "2024-05-02", "cells": {}}
    assert client.put(path, sheet, content_type="application/json").status_code == 201
    assert Visit.objects.get(pk=visit_id).route_id == here.arguments["route"]
