"""Who may read the visit of somebody else, in each state it can be in, by every way that leads to
one: the API, the screens, the files."""

import pytest
from django.core.files.base import ContentFile
from django.urls import reverse

from accounts.models import Role
from surveys.models import (
    Photo,
    VisitState,
)
from surveys.visits.access import find_visit
from surveys.visits.exceptions import NotYours
from tests.support.builders import (
    make_accepted_visit,
    make_checklist,
    make_member,
    make_program,
    make_route,
    make_species,
)
from tests.support.sounds import (
    keep,
    sound,
)

pytestmark = pytest.mark.django_db

DRAFT, SUBMITTED, SENT_BACK, ACCEPTED, SET_ASIDE = (
    VisitState.DRAFT,
    VisitState.SUBMITTED,
    VisitState.SENT_BACK,
    VisitState.ACCEPTED,
    VisitState.SET_ASIDE,
)
READERS = ("observer", "another observer", "coordinator", "partner", "elsewhere")
# By reader in the order above: may read, or may not (404, or 403 for a role that reads no visits).
HANDED_IN = (True, True, True, False, False)
UNFINISHED = (True, False, True, False, False)
# A voice says who somebody is: other observers never hear it.
SOUND = (True, False, True, False, False)


@pytest.fixture
def readers(program, observer, coordinator, partner):
    return {
        "observer": observer,
        "another observer": make_member(program),
        "coordinator": coordinator,
        "partner": partner,
        # Signed in to a program of their own, and asking in this one.
        "elsewhere": make_member(make_program(), Role.COORDINATOR),
    }


@pytest.fixture
def visit_in(program, observer, settings, tmp_path):
    """A visit in a state, with a photo and a recording."""
    settings.MEDIA_ROOT = tmp_path
    route = make_route(program)

    def make(state):
        visit = make_accepted_visit(route, observer.person, state=state, counts_in_trends=False)
        Photo.objects.create(
            visit=visit,
            row=1,
            image=ContentFile(b"\xff\xd8\xff", name="photo.jpg"),
            sha256="0" * 64,
            uploaded_by=observer.person,
        )
        return visit, keep(observer, visit, sound())

    return make


def ways_to_read(program, visit, recording):
    """Every URL that shows one visit, what is in it, or a file of it."""
    here = {"program": program.slug}
    this = {**here, "visit_id": visit.pk}
    return {
        "api:visit": reverse("api:visit", kwargs=this),
        "api:visit_records": reverse("api:visit_records", kwargs=this),
        "web:visit": reverse("web:visit", kwargs=this),
        "web:sheet": reverse("web:sheet", kwargs=this),
        "web:sheet_photo": reverse("web:sheet_photo", kwargs={**this, "row": 1}),
        "web:recording": reverse("web:recording", kwargs={**here, "recording_id": recording.pk}),
    }


@pytest.mark.parametrize(
    ("state", "by_way"),
    [
        (
            DRAFT,
            {
                "api:visit": UNFINISHED,
                "api:visit_records": UNFINISHED,
                "web:visit": UNFINISHED,
                "web:sheet": UNFINISHED,
                "web:sheet_photo": UNFINISHED,
                "web:recording": SOUND,
            },
        ),
        (
            SUBMITTED,
            {
                "api:visit": HANDED_IN,
                "api:visit_records": HANDED_IN,
                "web:visit": HANDED_IN,
                "web:sheet": HANDED_IN,
                "web:sheet_photo": HANDED_IN,
                "web:recording": SOUND,
            },
        ),
        (
            SENT_BACK,
            {
                "api:visit": UNFINISHED,
                "api:visit_records": UNFINISHED,
                "web:visit": UNFINISHED,
                "web:sheet": UNFINISHED,
                "web:sheet_photo": UNFINISHED,
                "web:recording": SOUND,
            },
        ),
        (
            ACCEPTED,
            {
                "api:visit": HANDED_IN,
                "api:visit_records": HANDED_IN,
                "web:visit": HANDED_IN,
                "web:sheet": HANDED_IN,
                "web:sheet_photo": HANDED_IN,
                "web:recording": SOUND,
            },
        ),
        (
            SET_ASIDE,
            {
                "api:visit": UNFINISHED,
                "api:visit_records": UNFINISHED,
                "web:visit": UNFINISHED,
                "web:sheet": UNFINISHED,
                "web:sheet_photo": UNFINISHED,
                "web:recording": SOUND,
            },
        ),
    ],
    ids=["draft", "submitted", "sent back", "accepted", "set aside"],
)
def test_every_way_to_a_visit(program, readers, client_for, visit_in, state, by_way):
    visit, recording = visit_in(state)
    ways = ways_to_read(program, visit, recording)
    assert ways.keys() == by_way.keys()
    answers = {
        way: tuple(client_for(readers[reader]).get(url).status_code for reader in READERS)
        for way, url in ways.items()
    }
    # A sheet that is not to be filled any more leads on to the page of the visit.
    let_in = {way: tuple(code in (200, 302) for code in codes) for way, codes in answers.items()}
    assert let_in == by_way, answers
    for way, (*_, partner, elsewhere) in answers.items():
        assert (partner, elsewhere) == (403, 404), way


@pytest.mark.parametrize(
    ("reader", "states"),
    [
        ("observer", {DRAFT, SUBMITTED, SENT_BACK, ACCEPTED, SET_ASIDE}),
        ("another observer", {SUBMITTED, ACCEPTED}),
        ("coordinator", {DRAFT, SUBMITTED, SENT_BACK, ACCEPTED, SET_ASIDE}),
    ],
)
def test_lists_of_the_api_and_what_is_found_in_the_code(
    program, readers, client_for, visit_in, reader, states
):
    visits = {state: visit_in(state)[0] for state in VisitState}
    member = readers[reader]
    url = reverse("api:visits", kwargs={"program": program.slug})
    listed = client_for(member).get(url).json()["results"]
    assert {row["id"] for row in listed} == {str(visits[state].pk) for state in states}
    for state, visit in visits.items():
        if state in states:
            assert find_visit(member, visit.pk) == visit
        else:
            with pytest.raises(NotYours):
                find_visit(member, visit.pk)


def test_lists_of_the_seasons(program, readers, client_for, visit_in):
    """What was handed in once; nobody's draft, not even one's own."""
    visits = {state: visit_in(state)[0] for state in VisitState}
    url = reverse("web:season_visits", kwargs={"program": program.slug})
    handed_in = {SUBMITTED, SENT_BACK, ACCEPTED, SET_ASIDE}
    listed = {
        "observer": handed_in,
        "another observer": {SUBMITTED, ACCEPTED},
        "coordinator": handed_in,
    }
    for reader, states in listed.items():
        page = client_for(readers[reader]).get(url, {"year": 2024}).content.decode()
        shown = {state for state, visit in visits.items() if str(visit.pk) in page}
        assert shown == states, reader


@pytest.mark.parametrize(
    ("state", "told"),
    [(DRAFT, False), (SUBMITTED, True), (SENT_BACK, False), (ACCEPTED, True), (SET_ASIDE, False)],
    ids=str,
)
def test_the_phone_learns_what_was_heard_on_visits_that_were_handed_in(
    program, readers, client_for, state, told
):
    """The packet of a route puts first what was heard there; the checklist has the toad last."""
    make_checklist(program, "Pseudacris crucifer", "Lithobates sylvaticus", "Anaxyrus americanus")
    toad = make_species("Anaxyrus americanus")
    route = make_route(program)
    make_accepted_visit(
        route,
        readers["observer"].person,
        state=state,
        counts_in_trends=False,
        heard={1: {toad: 2}},
    )
    url = reverse("web:survey_packet", kwargs={"program": program.slug, "code": route.code})
    packet = client_for(readers["another observer"]).get(url).json()
    likely_first = [night["species"][0] for night in packet["nights"].values()]
    assert set(likely_first) == ({toad.code} if told else {"pseudacris-crucifer"})
