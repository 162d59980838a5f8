"""The species of a program together: on the page of Trends and over the API, from stored fits."""

import html
import re

import pytest
from django.urls import reverse
from django.utils import timezone

from surveys.fitting.results import to_json
from surveys.models import SpeciesFit
from surveys.trends.estimates import (
    EDGE_OF_RANGE,
    FEW_CLUSTERS,
    FLAG_NAMES,
    OPEN_SEASON,
    POOR_FIT,
    TOO_FEW_DATA,
)
from surveys.trends.result_tables import result_from_rows
from tests.support.builders import make_accepted_visit, make_checklist, make_route

pytestmark = pytest.mark.django_db
YEAR = {
    "season_year": 2024, "sites": 20, "sites_heard": 10, "detection_model": "", "flags": "",
    "naive": 0.5, "occupancy": 0.6, "detection": 0.5, "trend": None, "naive_trend": None,
}  # fmt: skip


@pytest.fixture
def keep_fits(program, observer):
    """Fits with the given changes per year, each known to 2%."""

    def keep(*changes, flags="", years=(YEAR,)):
        species = make_checklist(
            program, "Pseudacris crucifer", "Anaxyrus americanus", "Lithobates sylvaticus"
        )
        make_accepted_visit(make_route(program), observer.person, heard={1: {species[0]: 1}})
        for one, change in zip(species, changes, strict=True):
            trend = {"change": change, "change_low": change - 2, "change_high": change + 2}
            SpeciesFit.objects.create(
                program=program,
                species=one,
                site="stop",
                region="",
                result=to_json(result_from_rows(years, trend | {"flags": flags}, {})),
                data_sha256="",
                data_stamp="",
                software="",
                fitted_at=timezone.now(),
                seconds=0,
            )

    return keep


def over_api(client, program):
    return client.get(f"/api/v1/{program.slug}/trends/").json()["together"]


def words_of(response):
    text = re.sub(r"<[^>]+>", " ", response.content.decode())
    return " ".join(html.unescape(text).replace("\N{NO-BREAK SPACE}", " ").split())


def test_the_page_says_how_many_would_by_chance(program, partner, client_for, keep_fits):
    keep_fits(-9.0, 0.5, 1.0)
    page = words_of(client_for(partner).get(reverse("web:trends", args=[program.slug])))
    assert (
        "Of 3 species, 1 is falling and 0 are rising. If none changed, about 0.1 would fall" in page
    )
    assert "Trends with less noise (shrinkage)" in page


def test_what_is_not_told_is_not_counted(program, partner, client_for, keep_fits):
    keep_fits(-9.0, 0.5, 1.0, flags=POOR_FIT)
    page = words_of(client_for(partner).get(reverse("web:trends", args=[program.slug])))
    assert "if none changed" not in page
    assert over_api(client_for(partner), program) is None


def test_the_api_gives_own_and_shrunken_trends(program, partner, client_for, keep_fits):
    keep_fits(-9.0, 0.5, 1.0)
    together = over_api(client_for(partner), program)
    assert (together["fell"], together["rose"], together["by_chance"]) == (
        1, 0, pytest.approx(0.075),
    )  # fmt: skip
    first = together["species"][0]
    assert first["species"] == "pseudacris-crucifer"
    assert first["own"] == {"value": -9.0, "low": -11.0, "high": -7.0}
    assert -9.0 < first["shrunken"]["value"] < -7.0
    assert together["discovered"] == ["pseudacris-crucifer"]


FIVE_YEARS = [{**YEAR, "season_year": year} for year in range(2020, 2025)]


@pytest.mark.parametrize("flag", [POOR_FIT, TOO_FEW_DATA, FEW_CLUSTERS, EDGE_OF_RANGE])
def test_a_doubt_stops_number_and_arrow_in_lists_comparison_and_api(
    program, partner, client_for, keep_fits, flag
):
    keep_fits(-9.0, 0.5, 1.0, flags=flag, years=FIVE_YEARS)
    client = client_for(partner)
    for name in ("web:trends", "web:trend_compare"):
        page = words_of(client.get(reverse(name, args=[program.slug])))
        assert "no trend reported" in page
        assert FLAG_NAMES[flag] in page
        assert "9.0%" not in page
        assert "▼" not in page
    (first, *_) = client.get(f"/api/v1/{program.slug}/trends/species/").json()["rows"]
    assert first["trend"]["told"] is False
    assert first["trend"]["flags"] == flag
    assert "fell by" not in first["sentence"]


def test_without_a_doubt_they_have_them(program, partner, client_for, keep_fits):
    keep_fits(-9.0, 0.5, 1.0, years=FIVE_YEARS)
    client = client_for(partner)
    for name in ("web:trends", "web:trend_compare"):
        page = words_of(client.get(reverse(name, args=[program.slug])))
        assert "9.0% (−11.0 to −7.0%)" in page
    assert "▼ falling" in words_of(client.get(reverse("web:trends", args=[program.slug])))
    (first, *_) = client.get(f"/api/v1/{program.slug}/trends/species/").json()["rows"]
    assert first["trend"]["told"] is True
    assert "fell by 9.0" in first["sentence"]


def test_every_species_has_a_small_picture(program, partner, client_for, keep_fits):
    keep_fits(-9.0, 0.5, 1.0, years=FIVE_YEARS)
    page = client_for(partner).get(reverse("web:trends", args=[program.slug])).content.decode()
    pictures = re.findall(r"<svg .*?</svg>", page, re.DOTALL)
    small = [one for one in pictures if "<circle" in one]
    assert len(small) == 3
    assert all(one.count("<circle") == 5 for one in small)


def test_the_list_shows_the_last_season_that_is_over(program, partner, client_for, keep_fits):
    now = {**YEAR, "season_year": 2025, "occupancy": None, "flags": OPEN_SEASON}
    keep_fits(-9.0, 0.5, 1.0, years=[*FIVE_YEARS, now])
    page = client_for(partner).get(reverse("web:trends", args=[program.slug]))
    assert [row["year"] for row in page.context["glance"]] == [2024] * 3
    assert [row["occupancy"] for row in page.context["glance"]] == ["60%"] * 3
