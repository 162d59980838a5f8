"""The water at stops: what is read from visits, and where it is shown."""

import datetime as dt
from copy import deepcopy

import pytest
from django.urls import reverse

from accounts.models import Role
from surveys.charts.water import lag_sentence
from surveys.fitting.refit import refit
from surveys.fitting.stored import stored_fits
from surveys.models import Stop, VisitState
from surveys.seasons.water import water_seen, water_with
from surveys.trends.water import Between
from tests.support.builders import (
    make_accepted_visit,
    make_checklist,
    make_member,
    make_program,
    make_route,
)

pytestmark = pytest.mark.django_db
NIGHTS = [dt.date(2024, 4, 1), dt.date(2024, 4, 20), dt.date(2024, 5, 10), dt.date(2024, 6, 20)]


def visit(route, person, night, water, **options):
    made = make_accepted_visit(route, person, night=night, **options)
    made.periods.update(water_tonight=water)
    return made


@pytest.fixture(scope="module")
def dried(module_rows):
    """A coordinator; three routes of two stops, dry, then full with a chorus, then dry again."""
    coordinator = make_member(make_program(), Role.COORDINATOR)
    (peeper,) = make_checklist(coordinator.program)
    for _ in range(3):
        route = make_route(coordinator.program, stops=2)
        for night, water in zip(NIGHTS, ("dry", "pools", "full", "dry"), strict=True):
            heard = {1: {peeper: 2}, 2: {peeper: 2}} if water == "full" else {}
            visit(route, coordinator.person, night, water, heard=heard)
    refit(coordinator.program)
    return coordinator


@pytest.fixture
def coordinator(dried, db):
    return deepcopy(dried)


@pytest.fixture
def route(coordinator):
    return coordinator.program.routes.first()


def day(night):
    return night.toordinal()


def test_looks_of_visits_that_count(coordinator, route):
    """Neither of another program, nor of a visit that does not count, nor where none was seen."""
    other = make_route(make_program())
    visit(other, coordinator.person, NIGHTS[0], "full")
    waiting = {"state": VisitState.SUBMITTED, "counts_in_trends": False}
    visit(route, coordinator.person, dt.date(2024, 3, 20), "full", **waiting)
    visit(route, coordinator.person, dt.date(2024, 3, 21), "not_seen")
    visit(route, coordinator.person, dt.date(2024, 3, 22), "")
    years = list(water_seen(coordinator.program))
    assert len(years) == 6
    assert {year.filled for year in years} == {Between(day(NIGHTS[0]), day(NIGHTS[1]))}
    assert {year.dried for year in years} == {Between(day(NIGHTS[2]), day(NIGHTS[3]))}
    assert list(water_seen(coordinator.program, routes=[other.pk])) == []
    assert list(water_seen(coordinator.program, last_year=2023)) == []


def test_a_visit_in_review_is_among_its_own_looks(coordinator, route):
    waiting = {"state": VisitState.SUBMITTED, "counts_in_trends": False}
    early = visit(route, coordinator.person, dt.date(2024, 3, 20), "full", **waiting)
    assert {year.filled for year in water_with(early)} == {Between(None, day(early.night))}


def test_route_and_review_show_the_strip_in_words(coordinator, route, client_for):
    client, program = client_for(coordinator), coordinator.program
    stop = Stop.objects.filter(route=route).first()
    pages = [
        reverse("web:program_route", kwargs={"program": program.slug, "route": route.pk}),
        reverse(
            "web:review_visit",
            kwargs={"program": program.slug, "visit": route.visits.first().pk},
        ),
    ]
    for page in pages:
        text = client.get(page).content.decode()
        assert "1 Apr: Dry, 20 Apr: Pools, 10 May: Full and 20 Jun: Dry" in text, page
        assert f'<th scope="row" class="nowrap">{stop}</th>' in text
        for words in ("1 Apr to 20 Apr", "10 May to 20 Jun", "21 to 79 days"):
            assert words in text, (page, words)


def test_the_page_of_a_species_says_how_calling_follows_the_water(coordinator, client_for):
    """Filled from April 2 to 20, chorus from April 21 to May 10: 1 to 38 days."""
    program = coordinator.program
    url = reverse(
        "web:trend_species", kwargs={"program": program.slug, "code": "pseudacris-crucifer"}
    )
    text = client_for(coordinator).get(url).content.decode()
    assert "From filling to chorus: 19.5 days (95% interval: 1 to 38 days, median of " in text
    assert "6 stops in a season on 3 routes" in text
    assert "Water at some visits, dry at others" in text


def test_the_api_has_the_rows_of_a_publication(coordinator, client_for, route):
    client, slug = client_for(coordinator), coordinator.program.slug

    def answer(path):
        return client.get(f"/api/v1/{slug}/{path}").json()

    rows = answer(f"records/water/?route={route.code}")
    assert [row["stop"] for row in rows] == [f"{route.code}_1", f"{route.code}_2"]
    assert rows[0] == {
        "stop": f"{route.code}_1", "season_year": 2024, "looks": 4, "first_look": "2024-04-01",
        "last_look": "2024-06-20", "dry_until": "2024-04-01", "filled_by": "2024-04-20",
        "wet_until": "2024-05-10", "dried_by": "2024-06-20", "held_least": 21, "held_most": 79,
    }  # fmt: skip
    (trend,) = answer("trends/species/")["rows"]
    assert (trend["water"]["lags"], trend["water"]["lag_low"]) == (6, 1)
    (fit,) = stored_fits(coordinator.program)
    assert trend["water_sentence"] == lag_sentence(fit.result)
    assert answer("trends/species/?site=route")["rows"][0]["water"] is None
