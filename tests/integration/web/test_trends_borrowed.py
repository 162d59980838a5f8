"""Detection borrowed from other species: on pages, in files and over the API, from stored fits."""

import csv
import html
import io
import re

import pytest
from django.urls import reverse
from django.utils import timezone

from surveys.fitting.results import to_json
from surveys.models import SpeciesFit
from tests.support.builders import make_accepted_visit, make_checklist, make_route
from tests.unit.trends.test_borrowed import BORROWER_OF_TWO, FEWEST_LENDERS, LENDER_OF_TWO

pytestmark = pytest.mark.django_db
NAMES = (
    "Pseudacris crucifer",
    "Anaxyrus americanus",
    "Lithobates sylvaticus",
    "Lithobates clamitans",
    "Lithobates catesbeianus",
    "Lithobates pipiens",
)
SENTENCE = "Corrected shares: detection borrowed from 5 other species."


@pytest.fixture
def fitted(program, observer):
    """The first species was visited once a season, the others more often."""
    species = make_checklist(program, *NAMES)
    make_accepted_visit(make_route(program), observer.person, heard={1: {species[0]: 1}})
    for one, result in zip(
        species, [BORROWER_OF_TWO, *[LENDER_OF_TWO] * FEWEST_LENDERS], strict=True
    ):
        SpeciesFit.objects.create(
            program=program, species=one, site="stop", region="", result=to_json(result),
            data_sha256="", data_stamp="", software="", fitted_at=timezone.now(), seconds=0,
        )  # fmt: skip
    return species


def words_of(response):
    text = re.sub(r"<[^>]+>", " ", response.content.decode())
    return " ".join(html.unescape(text).replace("\N{NO-BREAK SPACE}", " ").split())


def test_pages_files_and_api_name_the_flag_and_the_number_of_species(
    program, partner, client_for, fitted
):
    client = client_for(partner)
    listed = words_of(client.get(reverse("web:trends", args=[program.slug])))
    assert "2024: detection borrowed from 5 other species" in listed
    assert "is taken from the other species of the program" in listed
    compared = client.get(reverse("web:trend_compare", args=[program.slug]))
    assert "(detection borrowed)" in words_of(compared)
    place = [program.slug, fitted[0].code]
    page = words_of(client.get(reverse("web:trend_species", args=place)))
    assert SENTENCE in page
    assert "detection borrowed from other species" in page
    file = client.get(reverse("web:trend_species_csv", args=place)).content.decode("utf-8-sig")
    row, _ = csv.DictReader(io.StringIO(file))
    assert row["borrowed_from"] == "5"
    assert row["method"] == "borrowed-detection"
    assert row["flags"].startswith("detection-borrowed; ")
    (first, second, *_) = client.get(f"/api/v1/{program.slug}/trends/species/").json()["rows"]
    assert SENTENCE in first["sentence"]
    assert first["years"][0]["borrowed_from"] == 5
    assert "detection-borrowed" in first["years"][0]["flags"]
    assert first["trend"]["told"] is False
    assert second["years"][0]["borrowed_from"] is None


def test_one_species_alone_borrows_from_those_that_are_not_shown(
    program, partner, client_for, fitted
):
    address = f"/api/v1/{program.slug}/trends/species/?species={fitted[0].code}"
    (row,) = client_for(partner).get(address).json()["rows"]
    assert row["years"][0]["borrowed_from"] == 5
    SpeciesFit.objects.exclude(species=fitted[0]).first().delete()
    (row,) = client_for(partner).get(address).json()["rows"]
    assert row["years"][0]["borrowed_from"] is None
