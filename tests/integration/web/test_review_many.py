"""Review of many visits: accepting those without questions at once, claims, kinds of questions."""

import datetime as dt
import html
import re
import uuid

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from accounts.models import Role
from surveys.models import (
    ReviewClaim,
    ReviewStep,
    StoredFinding,
    Visit,
    VisitOddness,
    VisitState,
)
from surveys.visits import verbs
from surveys.visits.claims import CLAIM_LASTS, claim
from surveys.visits.oddness import compare_changed
from surveys.visits.queue import Claims, QueueFilters, next_waiting, queue
from tests.support.builders import make_checklist, make_member, make_program, make_route
from tests.support.sheets import make_submitted, plain_cells

# Issue: 300 visits, half without questions, in fewer clicks than this for those without.
MOST_CLICKS = 60


@pytest.fixture
def client(coordinator, client_for):
    return client_for(coordinator)


@pytest.fixture
def colleague(program):
    member = make_member(program, Role.COORDINATOR)
    member.person.name = "Ash Ferrow"
    member.person.save()
    return member


def url(name, program, **rest):
    return reverse(f"web:{name}", kwargs={"program": program.slug, **rest})


def waiting(program, observer, number, *, routes=3):
    version = None
    made = []
    for _ in range(routes):
        route = make_route(program, version=version, stops=1)
        version = version or route.protocol.versions.get()
        made.append(route)
    begins = dt.datetime(2024, 4, 20, tzinfo=dt.UTC)
    return Visit.objects.bulk_create(
        Visit(
            id=uuid.uuid4(),
            route=made[place % routes],
            protocol_version=version,
            observer=observer.person,
            night=dt.date(2024, 3, 1) + dt.timedelta(days=place // routes),
            season_year=2024,
            state=VisitState.SUBMITTED,
            submitted_at=begins + dt.timedelta(minutes=place),
        )
        for place in range(number)
    )


def ask(*visits):
    StoredFinding.objects.bulk_create(
        StoredFinding(visit=visit, code="too-cold", severity="query", message_as_stored="Cold.")
        for visit in visits
    )


def remark(*visits):
    StoredFinding.objects.bulk_create(
        StoredFinding(visit=visit, code="training-unknown", severity="note") for visit in visits
    )


def checked(page):
    return re.findall(r'name="visit"\s+value="([^"]+)"', page)


def text_of(response):
    page = html.unescape(re.sub(r"<[^>]+>", " ", response.content.decode()))
    return " ".join(page.split())


def test_half_of_300_visits_are_accepted_in_a_few_clicks(client, program, observer):
    visits = waiting(program, observer, 300, routes=30)
    ask(*visits[::2])
    remark(*visits[::3])
    compare_changed(timestamp=0)
    clicks = 1
    page = client.get(url("review", program)).content.decode()
    while link := re.search(rf'href="({url("accept_many", program)}[^"]*)"', page):
        clicks += 1
        with CaptureQueriesContext(connection) as queries:
            listed = client.get(link[1]).content.decode()
        assert listed.count("no tests are on record") == 50
        assert len(queries) < 30
        clicks += 1
        page = client.post(
            url("accept_many", program), {"visit": checked(listed)}, follow=True
        ).content.decode()
    states = dict(Visit.objects.values_list("pk", "state"))
    assert [states[visit.pk] for visit in visits] == ["submitted", "accepted"] * 150
    assert ReviewStep.objects.filter(step="accepted").count() == 150
    assert clicks < MOST_CLICKS
    assert clicks == 3


def test_what_changed_since_or_has_findings_is_left_and_named(
    client, program, observer, colleague, coordinator
):
    plain, changed, asked, claimed = waiting(program, observer, 4, routes=1)
    ask(asked)
    client.post(url("review_compare", program))
    listed = checked(client.get(url("accept_many", program)).content.decode())
    assert {one.partition(":")[0] for one in listed} == {
        str(visit.pk) for visit in (plain, changed, claimed)
    }
    verbs.set_aside(colleague, changed.pk, note="A test.", revision=changed.revision)
    claim(colleague, [claimed.pk])
    elsewhere = waiting(make_program(), observer, 1, routes=1)[0]
    forged = [f"{visit.pk}:{visit.revision}" for visit in (asked, elsewhere)]
    response = client.post(
        url("accept_many", program), {"visit": [*listed, *forged, "x", "x:1"]}, follow=True
    )
    states = dict(Visit.objects.values_list("pk", "state"))
    assert states[plain.pk] == "accepted"
    assert states[changed.pk] == "set_aside"
    assert {states[v.pk] for v in (asked, claimed, elsewhere)} == {"submitted"}
    text = text_of(response)
    assert "1 visit accepted." in text
    told = re.search(r"Not accepted, because they changed meanwhile: ([^.]*)\.", text)[1]
    assert len(told.split(" and ")[0].split(", ")) == 2
    assert str(elsewhere.route) not in told


def test_looking_at_the_queue_writes_nothing(client, program, observer):
    (visit,) = waiting(program, observer, 1, routes=1)
    queue = url("review", program)
    for address in (queue, url("accept_many", program)):
        with CaptureQueriesContext(connection) as queries:
            page = client.get(address)
        written = [one["sql"] for one in queries if re.match("INSERT|UPDATE|DELETE", one["sql"])]
        assert [sql for sql in written if "surveys_" in sql or "procrastinate" in sql] == []
        assert list(page.context.get("visits", [])) == []
    assert "not compared yet" in client.get(queue).content.decode()
    back = client.post(url("review_compare", program), {"back": f"{queue}?order=route"})
    assert back.url == f"{queue}?order=route"
    page = client.get(queue).content.decode()
    assert "not compared yet" not in page
    assert "Compare now" not in page
    elsewhere = client.post(url("review_compare", program), {"back": "https://example.org/"})
    assert elsewhere.url == queue
    assert visit.pk == VisitOddness.objects.get().visit_id


def test_stale_revision_is_not_accepted(client, program, observer):
    (visit,) = waiting(program, observer, 1, routes=1)
    client.post(url("review_compare", program))
    client.post(url("accept_many", program), {"visit": f"{visit.pk}:{visit.revision + 1}"})
    assert Visit.objects.get().state == "submitted"


def test_claims_are_soft_end_by_themselves_and_guide_the_next_visit(
    client, program, observer, colleague, coordinator
):
    first, second, third = waiting(program, observer, 3, routes=1)
    assert claim(colleague, [second.pk]) == 1
    response = client.post(
        url("claim", program), {"visit": [first.pk, second.pk, "x"]}, follow=True
    )
    text = text_of(response)
    assert "1 visit is yours for 30 minutes." in text
    assert "Some visits were claimed or decided by others." in text
    assert "Claimed by Ash Ferrow until" in text
    assert "Claimed by you until" in text
    assert next_waiting(coordinator, QueueFilters(), first) == third
    mine = list(queue(coordinator, QueueFilters(claims=Claims.MINE)))
    free = list(queue(coordinator, QueueFilters(claims=Claims.FREE)))
    assert (mine, free) == ([first], [first, third])
    page = client.get(url("review_visit", program, visit=second.pk))
    assert "Claimed by Ash Ferrow" in text_of(page)
    client.post(url("claim", program), {"visit": [first.pk, second.pk], "release": "1"})
    assert list(ReviewClaim.objects.values_list("visit", flat=True)) == [second.pk]
    ReviewClaim.objects.update(until=timezone.now() - dt.timedelta(seconds=1))
    assert claim(coordinator, [second.pk]) == 1
    renewed = ReviewClaim.objects.get()
    assert renewed.by == coordinator.person
    assert renewed.until > timezone.now() + CLAIM_LASTS - dt.timedelta(minutes=1)
    # It keeps nobody out.
    verbs.accept(colleague, second.pk, revision=second.revision)


def test_claims_stay_in_the_program_and_lead_back_nowhere_else(client, program, observer):
    elsewhere = waiting(make_program(), observer, 1, routes=1)[0]
    response = client.post(url("claim", program), {"visit": elsewhere.pk, "back": "//example.org/"})
    assert response["Location"] == url("review", program)
    assert not ReviewClaim.objects.exists()


def test_one_answer_for_all_questions_of_a_kind(client, program, observer, coordinator):
    make_checklist(program)
    route = make_route(program)
    cells = plain_cells() | {"stops.2.finished_at": "21:13", "stops.3.finished_at": "21:23"}
    visit = make_submitted(observer, route, cells)
    short = list(visit.findings.filter(code="listening-too-short"))
    assert len(short) == 2
    StoredFinding.objects.create(
        visit=visit, code="too-cold", severity="query", message_as_stored="Cold."
    )
    page = text_of(client.get(url("review_visit", program, visit=visit.pk)))
    assert page.count("And for 1 more question of this kind in this visit") == 2
    settle = url("settle", program, visit=visit.pk, finding=short[0].pk)
    unanswered = client.post(settle, {"revision": visit.revision, "whole_kind": "on"})
    assert re.search(r'name="whole_kind"[^>]*checked', unanswered.content.decode())
    client.post(
        settle,
        {
            "revision": visit.revision,
            "settlement": "counts",
            "reason": "A slip of the pen at both.",
            "whole_kind": "on",
        },
    )
    answers = dict(visit.findings.values_list("code", "settlement"))
    assert answers == {"listening-too-short": "counts", "too-cold": ""}
    assert set(visit.findings.filter(settlement="counts")) == set(short)
    visit.refresh_from_db()
    assert ReviewStep.objects.get(step="settled").note.startswith("listening-too-short (2): counts")
