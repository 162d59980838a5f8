"""Every visit, photo and recording of a program, asked for by every role on every path.

The expectation is `visible_visits` and `audible_recordings` alone; the paths come from the URL
table. So a screen, an endpoint or a file that decides by itself fails here. Rows of other programs
are asked for in `test_two_programs`.
"""

import datetime as dt
import hashlib
from copy import deepcopy
from dataclasses import dataclass, replace

import pytest
from django.core.files.base import ContentFile
from django.db import transaction
from django.test import Client

from accounts.models import Membership, Role
from surveys.models import (
    CallIndex,
    Confirmation,
    Photo,
    Recording,
    RecordingState,
    Route,
    StoredFinding,
    Visit,
    VisitState,
)
from surveys.visits.access import visible_visits
from surveys.visits.media.recording_access import audible_recordings
from tests.integration.test_access import World, address, make_world, pattern_of, request, rows
from tests.support.builders import make_accepted_visit, make_member, make_program
from tests.support.sounds import make_stored_picture

pytestmark = pytest.mark.django_db

ROLES = ("partner", "observer", "coordinator")
OF_A_VISIT = ("visit", "visit_id")
# What an URL names beside the visit, or in its place.
PARTS = ("finding", "finding_id", "confirmation", "confirmation_id", "recording_id")
SAFE = ("GET", "HEAD")
# Say that there is no such visit on the page of the sheet, which is not there either.
BACK_TO_THE_SHEET = ("web:sheet_photo", "web:sheet_recording")
# Show a visit to whoever may read it, whatever its state.
PICTURES = ("web:recording_picture", "web:recording_waveform")
SOUNDS = ("web:recording", "web:recording_listen", *PICTURES)
READ = ("web:visit", "web:sheet", "web:sheet_photo", *SOUNDS, "api:visit", "api:visit_records")
# Lists that show a visit to whoever may read it.
LISTS = ("web:season_visits", "api:visits")


@dataclass(frozen=True, kw_only=True)
class Shelf:
    """A world with visits of two observers in every state, each with all that a visit can have."""

    world: World
    visits: tuple[Visit, ...]


def _full_visit(route: Route, member: Membership, state: str, night: dt.date) -> Visit:
    species = member.program.checklist.first().species
    visit = make_accepted_visit(
        route,
        member.person,
        night=night,
        heard={1: {species: 2}},
        state=state,
        counts_in_trends=state == VisitState.ACCEPTED,
    )
    StoredFinding.objects.create(
        visit=visit, code="too-cold", severity="query", message_as_stored="Cold."
    )
    photo = Photo(
        visit=visit, row=1, bytes=9, sha256=hashlib.sha256(b"a picture").hexdigest(),
        uploaded_by=member.person,
    )  # fmt: skip
    photo.image.save(f"{photo.pk}.jpg", ContentFile(b"a picture"))
    recording = Recording(
        visit=visit, kind="voucher", media_type="audio/webm", seconds=2, bytes=7,
        received=7, sha256=hashlib.sha256(b"a sound").hexdigest(), state=RecordingState.COMPLETE,
        uploaded_by=member.person, completed_at=visit.submitted_at,
    )  # fmt: skip
    recording.audio.save(f"{recording.pk}.webm", ContentFile(b"a sound"))
    make_stored_picture(recording)
    Confirmation.objects.create(
        call=CallIndex.objects.get(period__visit=visit),
        recording=recording,
        by=make_member(member.program, Role.COORDINATOR).person,
        at=visit.submitted_at,
    )
    return visit


@pytest.fixture(scope="module")
def shelves(module_rows) -> Shelf:
    program = make_program()
    partner, observer, coordinator = (make_member(program, Role(role)) for role in ROLES)
    world = make_world(partner, observer, coordinator)
    other = make_member(program)
    route = Route.objects.get(pk=world.arguments["route"])
    visits = [
        _full_visit(route, member, state, dt.date(2024, 5, 1) + dt.timedelta(days=day))
        for member, first in ((observer, 0), (other, 10))
        for day, state in enumerate(VisitState.values, start=first)
    ]
    return Shelf(world=world, visits=tuple(visits))


@pytest.fixture
def shelf(shelves) -> Shelf:
    return deepcopy(shelves)


def _standing_on(shelf: Shelf, visit: Visit) -> World:
    """The world as seen from this visit: every id in a URL is one of it."""
    finding, confirmation = visit.findings.get().pk, Confirmation.objects.get(
        call__period__visit=visit
    )  # fmt: skip
    arguments = {
        **shelf.world.arguments,
        **dict.fromkeys(OF_A_VISIT, visit.pk),
        **dict.fromkeys(("finding", "finding_id"), finding),
        **dict.fromkeys(("confirmation", "confirmation_id"), confirmation.pk),
        "recording_id": confirmation.recording_id,
    }
    return replace(shelf.world, arguments=arguments, draft=visit)


def _paths_with_a_visit(role: str) -> list[tuple[str, str]]:
    """URL name and method, GET of each included."""
    found = set()
    for name, method, who, expected in rows():
        if who != role or expected == "no":
            continue
        if {*OF_A_VISIT, *PARTS} & pattern_of(name).pattern.converters.keys():
            found |= {(name, method), (name, "GET")}
    return sorted(found)


def _is_there(client: Client, world: World, name: str, method: str) -> bool:
    with transaction.atomic():
        response = request(client, world, name, method)
        if response.status_code == 302 and name in BACK_TO_THE_SHEET:
            response = client.get(response["Location"])
        transaction.set_rollback(True)
    assert response.status_code < 500, f"{method} {address(world, name)}"
    return response.status_code not in (403, 404, 405)


@pytest.mark.parametrize("role", ["observer", "coordinator"])
def test_one_decision_for_screens_api_and_files(shelf, role):
    member = shelf.world.members[role]
    client = Client()
    client.force_login(member.person)
    visible = set(visible_visits(member).values_list("pk", flat=True))
    audible = set(audible_recordings(member).values_list("pk", flat=True))
    assert set(audible_recordings(member).values_list("visit", flat=True)) <= visible
    tried, surprises, paths = 0, [], _paths_with_a_visit(role)
    for visit in shelf.visits:
        world = _standing_on(shelf, visit)
        for name, method in paths:
            wanted = (
                world.arguments["recording_id"] in audible
                if name in (*SOUNDS, "api:recording")
                else visit.pk in visible
            )
            if wanted and (method not in SAFE or name not in READ):
                continue  # In which state they may change it is tested with each verb.
            tried += 1
            if _is_there(client, world, name, method) != wanted:
                surprises.append(
                    f"{method} {name}: a visit {visit.state} of {visit.observer_id} "
                    f"is {'missing' if wanted else 'open'} to the {role}"
                )
    assert tried > 0
    assert not surprises, "\n".join(surprises)


@pytest.mark.parametrize("role", ROLES)
def test_no_page_names_what_its_reader_may_not_open(shelf, role):
    """Any page, list, file or endpoint that can be asked for without naming a visit."""
    member = shelf.world.members[role]
    client = Client()
    client.force_login(member.person)
    visible = {str(pk) for pk in visible_visits(member).values_list("pk", flat=True)}
    # Records of accepted visits are a right of their own: partners read them, too.
    counted = {str(visit.pk) for visit in shelf.visits if visit.counts_in_trends}
    sounds = {str(pk) for pk in audible_recordings(member).values_list("pk", flat=True)}
    hidden = {str(visit.pk) for visit in shelf.visits} - visible - counted
    hidden |= {str(pk) for pk in Recording.objects.values_list("pk", flat=True)} - sounds
    leaks = []
    for name, method, who, expected in rows():
        if who != role or expected != "ok" or method not in SAFE or name.endswith("_chart"):
            continue
        with transaction.atomic():
            response = request(client, shelf.world, name, method)
            body = response.getvalue() if response.streaming else response.content
            transaction.set_rollback(True)
        text = body.decode("utf-8", "replace")
        leaks += [f"{name}: {one}" for one in hidden if one in text]
        if name in LISTS:
            listed = {str(visit.pk) for visit in shelf.visits if str(visit.pk) in text}
            drafts = {str(v.pk) for v in shelf.visits if v.state == VisitState.DRAFT}
            assert listed | drafts >= visible & {str(visit.pk) for visit in shelf.visits}, name
    assert hidden or role == "coordinator"
    assert not leaks, "\n".join(leaks)
