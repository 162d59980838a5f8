"""The read-only page of a visit."""

import datetime as dt
import re
import uuid

import pytest
from django.urls import reverse
from django.utils import timezone

from accounts.models import Role
from surveys.models import (
    CallIndex,
    LifeStage,
    ListeningPeriod,
    ReviewStep,
    Sighting,
    StoredFinding,
    Visit,
    VisitState,
)
from tests.support.builders import (
    make_accepted_visit,
    make_checklist,
    make_member,
    make_person,
    make_program,
    make_route,
)
from tests.support.sheets import make_submitted

pytestmark = pytest.mark.django_db


@pytest.fixture
def visit(program, observer, coordinator):
    peeper, toad = make_checklist(program, "Pseudacris crucifer", "Anaxyrus americanus")
    visit = make_accepted_visit(
        make_route(program, stops=4),
        observer.person,
        night=dt.date(2024, 4, 15),
        heard={1: {peeper: 3}},
        skipped=frozenset({3}),
        start_air_temperature_c="12.5",
        start_beaufort=2,
        start_sky="light_rain",
        rain_48h_mm="4.5",
    )
    ListeningPeriod.objects.filter(visit=visit, stop__number=4).delete()
    ListeningPeriod.objects.filter(visit=visit, stop__number=3).update(skip_reason="Road works")
    period = ListeningPeriod.objects.get(visit=visit, stop__number=2)
    CallIndex.objects.create(period=period, species=toad, not_sure=True)
    Sighting.objects.create(visit=visit, row=1, species=toad, life_stage=LifeStage.EGGS, count=2)
    StoredFinding.objects.create(
        visit=visit,
        code="too-windy",
        severity="query",
        stop=period.stop,
        field="beaufort",
        message_as_stored="The wind was above the limit.",
        settlement="counts",
        reason="Sheltered valley.",
        settled_by=coordinator.person,
        settled_at=timezone.now(),
    )
    ReviewStep.objects.create(
        visit=visit,
        step="accepted",
        by=coordinator.person,
        at=timezone.now(),
        revision=2,
        note="Thank you for going twice.",
    )
    return visit


def path_of(visit, program=None):
    slug = (program or visit.route.program).slug
    return reverse("web:visit", kwargs={"program": slug, "visit_id": visit.pk})


def text_of(response):
    return " ".join(re.sub(r"<[^>]+>", " ", response.content.decode()).split())


def test_page_shows_calls_and_weather(visit, client_for, observer):
    response = client_for(observer).get(path_of(visit))
    text = text_of(response)
    for words in (
        "Night of Monday, 15 April 2024",
        "Robin Fenwick",
        "12.5 °C",
        "Beaufort 2 felt on the face, leaves rustle",
        "Light rain you hear calls through it",
        "4.5 mm",
        "Skipped: Road works",
        "Not reached",
        "heard, not sure",
        "Egg mass",
        "The wind was above the limit.",
        "Resolved: Counts. Sheltered valley.",
        # 01:31 UTC of the next day is 20:31 of the night in Chicago.
        "20:31 – 20:36",
    ):
        assert words in text, words
    values = [[cell.value for cell in row.cells] for row in response.context["grid"].rows]
    assert values == [[3, 0], [0, "not-sure"], ["skipped"] * 2, ["not-reached"] * 2]


def test_temperatures_are_in_the_programs_unit(visit, client_for, observer):
    visit.route.program.temperature_unit = "F"
    visit.route.program.save()
    assert "54.5 °F" in text_of(client_for(observer).get(path_of(visit)))


@pytest.mark.parametrize(
    ("unit", "stored", "shown"),
    [
        ("F", {"rain_48h_mm": "12.7"}, "Rain in the 48 hours before 0.5 in"),
        ("C", {"rain_48h_mm": "12.7"}, "Rain in the 48 hours before 12.7 mm"),
        ("F", {"rain_48h_mm": None, "rain_48h_is_trace": True}, "48 hours before a trace"),
        ("F", {"rain_48h_mm": 0}, "Rain in the 48 hours before 0 in"),
    ],
)
def test_rain_is_in_the_programs_unit(visit, client_for, observer, unit, stored, shown):
    visit.route.program.temperature_unit = unit
    visit.route.program.save()
    Visit.objects.filter(pk=visit.pk).update(**stored)
    assert shown in text_of(client_for(observer).get(path_of(visit)))


def test_history_is_for_coordinators_and_the_observer_of_the_visit(
    visit, program, client_for, observer, coordinator
):
    other = make_member(program, Role.OBSERVER, person=make_person("Sam Alder"))
    seen = {
        name: "Thank you for going twice." in text_of(client_for(member).get(path_of(visit)))
        for name, member in {"own": observer, "coordinator": coordinator, "other": other}.items()
    }
    assert seen == {"own": True, "coordinator": True, "other": False}


def test_a_draft_is_for_its_observer_and_coordinators(
    visit, program, client_for, observer, coordinator
):
    draft = make_accepted_visit(
        visit.route, observer.person, state=VisitState.DRAFT, counts_in_trends=False
    )
    other = make_member(program, Role.OBSERVER)
    codes = [
        client_for(member).get(path_of(draft)).status_code
        for member in (observer, coordinator, other)
    ]
    assert codes == [200, 200, 404]


def test_partners_and_strangers_may_not(visit, client_for, client, partner):
    assert client_for(partner).get(path_of(visit)).status_code == 403
    elsewhere = make_program()
    stranger = make_member(elsewhere, Role.COORDINATOR)
    assert client_for(stranger).get(path_of(visit)).status_code == 404
    # Nor through one's own program.
    assert client_for(stranger).get(path_of(visit, elsewhere)).status_code == 404
    assert client.get(path_of(visit)).status_code == 302
    nowhere = Visit(pk=uuid.uuid4(), route=visit.route)
    assert client_for(stranger).get(path_of(nowhere)).status_code == 404


def test_query_count_does_not_grow_with_stops(
    visit, program, client_for, observer, django_assert_num_queries
):
    peeper = CallIndex.objects.filter(index=3).get().species
    longer = make_accepted_visit(
        make_route(program, stops=10),
        observer.person,
        heard={stop: {peeper: 1} for stop in range(1, 11)},
    )
    client = client_for(observer)
    client.get(path_of(visit))
    for shown in (visit, longer):
        with django_assert_num_queries(20):
            client.get(path_of(shown))


def test_the_observer_withdraws_a_submitted_visit(program, observer, coordinator, client_for):
    submitted = make_submitted(observer, make_route(program))
    path = reverse("web:visit", args=[program.slug, submitted.pk])
    button = "Withdraw to make changes"
    assert button not in client_for(coordinator).get(path).text
    client = client_for(observer)
    assert button in client.get(path).text
    address = reverse("web:visit_withdraw", args=[program.slug, submitted.pk])
    stale = client.post(address, {"revision": "x"}, follow=True)
    assert "Someone else changed this visit" in stale.text
    back = client.post(address, {"revision": submitted.revision}, follow=True)
    assert back.redirect_chain == [(reverse("web:sheet", args=[program.slug, submitted.pk]), 302)]
    assert "The visit is yours again." in back.text
    slug = [program.slug]
    for page in (
        back,
        client.get(path),
        client.get(reverse("web:tonight", args=slug)),
        client.get(reverse("web:sheets", args=slug)),
        client_for(coordinator).get(path),
        client_for(coordinator).get(reverse("web:review_visit", args=[*slug, submitted.pk])),
    ):
        assert "Withdrawn" in page.text
        assert "Sent back" not in page.text
        assert "Fix it" not in page.text
    for name in ("review", "season_visits", "desk"):
        here = reverse(f"web:{name}", args=slug)
        page = client_for(coordinator).get(here, {"state": "sent_back"})
        assert "Withdrawn" in page.text, name
    assert "You withdrew this visit" in back.text
    refused = client.post(address, {"revision": submitted.revision + 1}, follow=True)
    assert "you can do this only while it is “submitted”" in refused.text
