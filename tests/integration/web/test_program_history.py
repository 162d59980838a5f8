"""The page of a program's history."""

import html
import re

import pytest
from django.urls import reverse

from surveys.models import Assignment, Program
from surveys.programs.setting_up import program_facts
from surveys.web.forms.seen import pack_facts
from tests.support.builders import make_route


@pytest.fixture
def page(coordinator, client_for):
    return client_for(coordinator)


def url(program, name="program_history", **rest):
    return reverse(f"web:{name}", kwargs={"program": program.slug, **rest})


def text_of(response):
    words = html.unescape(re.sub(r"<[^>]+>", " ", response.content.decode()))
    return " ".join(words.split())


def test_assignment_is_shown_and_undone(page, program, coordinator, observer):
    route = make_route(program, code="R01")
    page.post(
        url(program, "program_assignments"),
        {"route": route.pk, "observer": observer.person_id},
    )
    year = Assignment.objects.get().season_year
    shown = page.get(url(program) + "?kind=assignments")
    text = text_of(shown)
    who = coordinator.person.name
    assert f"{who} Assignments R01: {observer.person.name}, {year} Added" in text
    (address,) = re.findall(r'action="([^"]+/undo)"', shown.content.decode())
    assert "Undone." in text_of(page.post(address, follow=True))
    assert not Assignment.objects.exists()
    assert "changed again since" in text_of(page.post(address, follow=True))


def test_setting_is_told_from_what_to_what_and_older_changes_follow(page, program):
    facts = {name: str(getattr(program, name) or "") for name in (
        "name", "country_code", "time_zone", "temperature_unit", "distance_unit", "clock_style",
        "date_order", "emergency_number")}  # fmt: skip
    for number in range(40):
        program = Program.objects.get(pk=program.pk)
        facts |= {"seen": pack_facts(program_facts(program)), "region": f"Region {number}"}
        assert page.post(url(program, "program_facts"), facts).status_code == 302
    first = page.get(url(program))
    assert "Region: from Region 38 to Region 39" in text_of(first)
    older = html.unescape(re.search(r'href="([^"]+)" rel="next"', first.content.decode())[1])
    assert "Region: from Region 8 to Region 9" in text_of(page.get(url(program) + older))
    assert "Latest changes" in text_of(page.get(url(program) + older))


@pytest.mark.parametrize("query", ["?person=x", "?kind=nothing", "?since=yesterday", "?at=~1~"])
def test_what_cannot_be_read_does_not_filter(page, program, query):
    assert page.get(url(program) + query).status_code == 200


def test_nothing_found_says_so(page, program):
    assert "No change matches" in text_of(page.get(url(program) + "?since=2199-01-01"))
