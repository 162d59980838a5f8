"""Would we notice a decline? Asking, waiting, the answer."""

import re
from dataclasses import replace

import pytest
from django.urls import reverse

from surveys.fitting.power import (
    PowerUnknownError,
    SurveyBaseline,
)
from surveys.models import PowerStudy
from surveys.trends.models.needed_effort import NeededEffort
from surveys.web.power import views as views
from tests.support.builders import (
    make_checklist,
    make_study,
)
from tests.unit.charts.test_words import estimate, result

pytestmark = pytest.mark.django_db


@pytest.fixture
def peeper(program):
    return make_checklist(program)[0]


@pytest.fixture
def known(monkeypatch):
    baseline = SurveyBaseline(
        routes=12, stops_per_route=10, visits=3, occupancy=0.4, detection=0.5, year_sd=0.2
    )
    monkeypatch.setattr(views, "survey_baseline", lambda *_: baseline)
    monkeypatch.setattr("surveys.fitting.power.survey_baseline", lambda *_: baseline)


def address(name, program, **kwargs):
    return reverse(f"web:{name}", kwargs={"program": program.slug, **kwargs})


def text(response):
    return response.content.decode().replace("\N{NO-BREAK SPACE}", " ")


@pytest.fixture
def signed_in(client, coordinator):
    client.force_login(coordinator.person)
    return client


def test_numbers_start_as_things_are_today(signed_in, program, peeper, known):
    page = text(signed_in.get(address("power", program)))
    assert "Today: 12 routes of 10 stops, 3 visits per year" in page
    assert 'name="routes" value="12"' in page


def test_what_more_it_takes_stands_beside_today(signed_in, program, peeper, known, monkeypatch):
    assert "more seasons" not in text(signed_in.get(address("power", program)))
    told = result(estimate(-2.0, -3.0, -1.0))
    needed = NeededEffort(
        percent=-3.0, aim=0.8, chance=0.31, years=7, routes=None, years_low=4, years_high=11
    )
    told = replace(told, trend=replace(told.trend, needed=needed))
    baseline = replace(views.survey_baseline(), result=told)
    monkeypatch.setattr(views, "survey_baseline", lambda *_: baseline)
    page = text(signed_in.get(address("power", program)))
    assert "To reach 80%, it takes about 7 more seasons with these routes (4 to 11," in page


def test_it_opens_with_a_species_that_can_be_asked_about(signed_in, program, known, monkeypatch):
    seldom, peeper = make_checklist(program, "Lithobates sylvaticus", "Pseudacris crucifer")
    baseline = views.survey_baseline()

    def survey_baseline(_, species):
        if species == seldom:
            raise PowerUnknownError("It was never heard twice.")
        return baseline

    monkeypatch.setattr(views, "survey_baseline", survey_baseline)
    page = text(signed_in.get(address("power", program)))
    assert f'<option value="{peeper.code}" selected>' in page
    asked_for = text(signed_in.get(address("power", program), {"species": seldom.code}))
    assert "It was never heard twice." in asked_for


def test_asking_leads_to_the_study_and_nothing_waits(signed_in, program, peeper, known):
    asked = {"species": peeper.code, "fall": 30, "years": 10, "routes": 12, "visits": 3}
    answer = signed_in.post(address("power", program), asked)
    study = PowerStudy.objects.get()
    assert answer["Location"] == address("power_study", program, study_id=study.pk)
    page = text(signed_in.get(answer["Location"]))
    plain = " ".join(re.sub(r"<[^>]+>", " ", page).split())
    assert "Waiting in line. You can leave this page. We simulate a few" in plain
    assert 'hx-trigger="every 2s"' in page
    assert (
        signed_in.get(address("power_chart", program, study_id=study.pk, form="svg")).status_code
        == 404
    )


@pytest.mark.parametrize(
    ("change", "words"),
    [({"routes": 1}, "Write 2 or more."), ({"visits": ""}, "This is missing.")],
)
def test_what_cannot_be_is_said_beside_the_field(signed_in, program, peeper, known, change, words):
    asked = {"species": peeper.code, "fall": 30, "years": 10, "routes": 12, "visits": 3}
    answer = signed_in.post(address("power", program), {**asked, **change})
    assert answer.status_code == 422
    assert words in text(answer)
    assert not PowerStudy.objects.exists()


def test_why_it_cannot_be_asked_yet(signed_in, program, peeper):
    page = text(signed_in.get(address("power", program)))
    assert "still being calculated" in page


def test_the_answer(signed_in, program, peeper):
    study = make_study(program, peeper)
    page = text(signed_in.get(address("power_study", program, study_id=study.pk)))
    name = peeper.common_name
    assert (
        "With 12 routes and 3 visits per year, there is a 46% chance to notice a decline of 30% "
        f"in 10 years in the share of stops with {name}."
    ) in page
    assert "reaches the usual goal of 80%: 24 routes and 3 visits per year" in page
    assert "46% (39 to 53%) (this plan)" in page
    assert "With 3 visits per year: 46% with 12 routes, 85% with 24." in page
    assert "hx-get" not in page


def test_the_part_alone_for_the_page_that_waits(signed_in, program, peeper):
    url = address("power_study", program, study_id=make_study(program, peeper).pk)
    part = text(signed_in.get(url, headers={"HX-Request": "true"}))
    assert part.lstrip().startswith('<div id="answer"')
    assert "<html" not in part


def test_the_picture(signed_in, program, peeper):
    study = make_study(program, peeper)
    picture = signed_in.get(address("power_chart", program, study_id=study.pk, form="svg"))
    assert picture["Content-Type"] == "image/svg+xml"
    assert "Chance to notice the decline" in text(picture)
