"""Shares of what was seen, on the page of a species and in the API."""

import pytest
from django.urls import reverse

from surveys.fitting.refit import refit
from surveys.models import Sighting, VisitState
from surveys.seasons.sightings import sighting_shares
from tests.support.builders import (
    make_accepted_visit,
    make_checklist,
    make_program,
    make_route,
)

pytestmark = pytest.mark.django_db


@pytest.fixture
def peeper(program):
    return make_checklist(program)[0]


def see(visit, species, row=1, **facts):
    return Sighting.objects.create(
        visit=visit,
        row=row,
        species=species,
        **{"life_stage": "adult", "color_form": "tan", **facts},
    )


@pytest.fixture
def seen(program, observer, peeper):
    """Three tan ones and one gray in the North; others that are not to count."""
    north, south = (make_route(program, region=region) for region in ("North", "South"))
    visit = make_accepted_visit(north, observer.person)
    see(visit, peeper, count=3)
    see(visit, peeper, 2, color_form="gray", life_stage="juvenile")
    waiting = {"state": VisitState.SUBMITTED, "counts_in_trends": False}
    see(make_accepted_visit(south, observer.person, **waiting), peeper, color_form="blue")
    see(make_accepted_visit(make_route(make_program()), observer.person), peeper, color_form="red")
    refit(program)


def test_only_visits_that_count_and_only_of_the_program(program, peeper, seen):
    found = {(one.region, one.value, one.number, one.of) for one in sighting_shares(program)}
    forms = {("tan", 3, 4), ("gray", 1, 4), ("adult", 1, 2), ("juvenile", 1, 2)}
    assert found == {(region, *form) for region in ("", "North") for form in forms}
    assert list(sighting_shares(program, make_checklist(make_program(), "Hyla cinerea")[0])) == []


def test_the_page_of_the_species_shows_them(program, partner, peeper, seen, client_for):
    page = reverse("web:trend_species", kwargs={"program": program.slug, "code": peeper.code})
    text = client_for(partner).get(page).content.decode()
    for words in (">tan</td>", ">3 of 4</td>", "Juvenile", "75% (30 to 95%)"):
        assert words in text, words


def test_the_api_has_the_rows_of_a_publication(program, partner, peeper, seen, client_for):
    client = client_for(partner)
    address = f"/api/v1/{program.slug}/trends/sightings/"
    rows = client.get(f"{address}?species={peeper.code}").json()
    assert len(rows) == 8
    tan = next(row for row in rows if (row["region"], row["value"]) == ("North", "tan"))
    assert (tan["species"], tan["number"], tan["of"], tan["share"]) == (
        peeper.scientific_name, 3, 4, 0.75,
    )  # fmt: skip
    assert client.get(f"{address}?species=unknown").status_code == 400
