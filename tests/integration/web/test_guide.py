"""The pages of the guide that come from the catalog."""

import re

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from surveys.demo.catalog import load_species
from surveys.models import CallingRegion, Program

pytestmark = pytest.mark.django_db


@pytest.fixture(scope="module")
def catalog(module_rows):
    load_species()


@pytest.fixture
def page(catalog, observer, client_for):
    return client_for(observer)


def words(page, name, **kwargs):
    shown = page.get(reverse(f"web:{name}", kwargs=kwargs)).content.decode()
    return " ".join(re.sub(r"<[^>]+>", " ", shown).split())


def test_the_guide_leads_to_every_region(page):
    assert reverse("web:guide_species") in page.get(reverse("web:guide")).content.decode()
    shown = page.get(reverse("web:guide_species")).content.decode()
    for region in CallingRegion.objects.all():
        assert reverse("web:guide_species_in_region", kwargs={"region": region.code}) in shown


def test_a_region_tells_how_and_when_its_species_call(page):
    shown = words(page, "guide_species_in_region", region="southeast-coastal-plain")
    ornate = shown.split("Ornate chorus frog")[1:]
    assert any(
        "Pseudacris ornata · November 1 to March 31 (sure) Call: sharp ringing peep" in part
        for part in ornate
    )
    assert "Scaphiopus holbrookii · any time (sure)" in shown
    assert "introduced here" in shown
    assert "The peeper whistles once a second and slides upward." in shown
    assert "American woodcock (nasal peent)" in shown
    assert "Others: Spring peeper." in shown


def test_a_silent_species_is_told_as_silent(page):
    shown = words(page, "guide_species_in_region", region="british-columbia")
    assert "Ascaphus truei · gives no call Note: cannot be found by ear." in shown


def test_the_phone_keeps_the_species_of_its_region(page, observer):
    """With the same words as the site has; a change makes phones fetch them again."""
    where = {"program": observer.program.slug}
    kept = page.get(reverse("web:survey_guide", kwargs=where)).json()["pages"]
    before = page.get(reverse("web:survey", kwargs=where))["Survey-Version"]
    assert "species" not in [one["slug"] for one in kept]
    region = CallingRegion.objects.get(code="southeast-coastal-plain")
    Program.objects.update(calling_region=region)
    species = page.get(reverse("web:survey_guide", kwargs=where)).json()["pages"][-1]
    assert (species["slug"], species["title"]) == ("species", f"Species: {region}")
    assert len(species["html"]) > 10_000
    address = reverse("web:guide_species_in_region", kwargs={"region": region.code})
    assert (
        species["html"].split()
        == page.get(address)
        .content.decode()
        .partition('<div class="prose">')[2]
        .partition("</main>")[0]
        .rpartition("</div>")[0]
        .split()
    )
    assert page.get(reverse("web:survey", kwargs=where))["Survey-Version"] != before


def test_a_region_that_is_not_there(page):
    address = reverse("web:guide_species_in_region", kwargs={"region": "atlantis"})
    assert page.get(address).status_code == 404


def test_the_number_of_queries_does_not_grow(page):
    def queries(region):
        address = reverse("web:guide_species_in_region", kwargs={"region": region})
        page.get(address)
        with CaptureQueriesContext(connection) as taken:
            page.get(address)
        return len(taken)

    assert queries("hawaii") == queries("southeast-coastal-plain")
