"""The species page and comparisons in Chromium: axe in both themes, and no script needed."""

import datetime as dt

import pytest
from playwright.sync_api import Page

from accounts.models import (
    Membership,
    Role,
)
from surveys.fitting.refit import refit
from tests.browser.conftest import faults_of
from tests.support.builders import (
    make_accepted_visit,
    make_checklist,
    make_member,
    make_program,
    make_route,
)


@pytest.fixture
def coordinator(live_server) -> Membership:
    program = make_program()
    peeper, toad = make_checklist(program, "Pseudacris crucifer", "Anaxyrus americanus")
    member = make_member(program, Role.COORDINATOR)
    for region in ("North", "South"):
        route = make_route(program, stops=4, region=region)
        for year in (2022, 2023, 2024):
            for month, stops in ((4, (1, 2)), (5, (2, 3))):
                heard = {stop: {peeper: 2} for stop in stops} | {4: {toad: 1}}
                night = dt.date(year, month, 2)
                make_accepted_visit(route, member.person, night=night, heard=heard)
    refit(program)
    return member


def test_accessible_in_both_themes(signed_in, coordinator):
    home = f"/{coordinator.program.slug}/trends"
    screens = (
        "/",
        "/species/pseudacris-crucifer/",
        "/compare/",
        "/compare/?by=route",
        "/could-we-see-it/?species=pseudacris-crucifer",
    )
    addresses = [home + screen for screen in screens]
    assert faults_of(signed_in(coordinator), addresses, open_folds) == {}


def open_folds(page: Page) -> None:
    for fold in page.locator("details.trend-fold > summary").all():
        fold.click()


def test_the_picture_shows_under_the_content_security_policy(signed_in, coordinator):
    page = signed_in(coordinator)
    said: list[str] = []
    page.on("console", lambda message: said.append(message.text))
    page.goto(f"/{coordinator.program.slug}/trends/species/pseudacris-crucifer/")
    page.wait_for_load_state("networkidle")
    picture = page.locator("figure.chart img")
    assert picture.evaluate("image => image.complete && image.naturalWidth") > 300
    assert picture.get_attribute("alt").startswith("Share of stops with")
    assert said == []
