"""Review in Chromium: the keyboard way through a night's work, drafts, axe."""

import datetime as dt
import re

import pytest
from playwright.sync_api import Page, expect

from accounts.models import (
    Membership,
    Role,
)
from surveys.models import Visit
from tests.browser.conftest import faults_in_every_look
from tests.support.builders import (
    make_checklist,
    make_member,
    make_program,
    make_route,
    make_version,
)
from tests.support.sheets import (
    make_submitted,
    plain_cells,
)

REASON = "The notebook says 21:17; the 3 was a slip."


@pytest.fixture
def coordinator(live_server) -> Membership:
    """A coordinator with two visits that wait: one with two queries, one with none."""
    program = make_program()
    peeper, toad, wood = make_checklist(
        program, "Pseudacris crucifer", "Anaxyrus americanus", "Lithobates sylvaticus"
    )
    route = make_route(program, version=make_version(program, min_stops=3), stops=5)
    observer = make_member(program)
    cells = plain_cells(4, {1: {peeper: 3, toad: "?"}, 3: {toad: 1, wood: 2}}) | {
        "stops.2.finished_at": "21:13",
        "stops.3.finished_at": "21:22",
        "stops.4.status": "skipped",
        "stops.4.skip_reason": "The road was under water.",
        "start.air_temperature": "13",
        "start.beaufort": "2",
        "start.sky": "partly_cloudy",
        "rain_48h": "12.5",
        "notes": "Still and mild.",
        "sightings.1.stop": "3",
        "sightings.1.species": toad.code,
        "sightings.1.life_stage": "adult",
        "sightings.1.count": "2",
    }
    for name in ("arrived_at", "started_at", "finished_at", "air_temperature"):
        del cells[f"stops.4.{name}"]
    queried = make_submitted(observer, route, cells)
    clean = make_submitted(observer, route, plain_cells(5), night=dt.date(2024, 5, 2))
    assert queried.submitted_at < clean.submitted_at
    return make_member(program, Role.COORDINATOR)


def open_first(page: Page, member: Membership) -> Page:
    page.goto(f"/{member.program.slug}/review/")
    page.keyboard.press("n")
    expect(page.get_by_role("heading", name="Questions")).to_be_visible()
    return ready(page)


def ready(page: Page) -> Page:
    """The page once its module listens to the keyboard."""
    expect(page.get_by_role("button", name="Shortcuts are on")).to_be_visible()
    return page


def test_a_night_of_review_by_keyboard(signed_in, coordinator):
    page = open_first(signed_in(coordinator), coordinator)
    for number in (1, 2):
        page.keyboard.press("q")
        expect(page.locator("[data-open-query]:focus")).to_contain_text(f"Q{number}")
        page.keyboard.press("s")
        page.keyboard.press("Space")
        page.keyboard.press("Tab")
        page.keyboard.type(REASON)
        page.keyboard.press("Tab")
        page.keyboard.press("Enter")
        expect(page.locator("[data-open-query]")).to_have_count(2 - number)
        ready(page)
    expect(page.get_by_text("No open questions.")).to_be_visible()
    page.keyboard.press("a")
    expect(page.get_by_text("Accepted: ")).to_be_visible()
    expect(page.locator(".page-head__lede")).to_contain_text("2 May 2024")
    ready(page)
    page.keyboard.press("a")
    expect(page.get_by_text("Nothing to review")).to_be_visible()
    assert set(Visit.objects.values_list("state", flat=True)) == {"accepted"}


def test_typing_is_no_shortcut_and_shortcuts_can_be_switched_off(signed_in, coordinator):
    page = open_first(signed_in(coordinator), coordinator)
    address = page.url
    page.keyboard.press("b")
    note = page.get_by_role("dialog").get_by_label("Note to the observer")
    expect(note).to_be_visible()
    note.press_sequentially("a bad night, no? ")
    assert page.url == address
    page.keyboard.press("Escape")
    page.keyboard.press("Escape")
    expect(page.get_by_role("dialog")).to_have_count(0)
    page.get_by_role("button", name="Shortcuts are on").click()
    page.reload()
    expect(page.get_by_role("button", name="Shortcuts are off")).to_be_visible()
    page.keyboard.press("n")
    page.keyboard.press("b")
    expect(page.get_by_role("dialog")).to_have_count(0)
    assert page.url == address


def test_settling_one_query_keeps_what_is_typed_at_the_other(signed_in, coordinator):
    page = open_first(signed_in(coordinator), coordinator)
    first, second = page.locator("[data-open-query]").all()
    second.get_by_label("Reason").fill(REASON)
    second.get_by_label("Excluded from trends").check()
    first.get_by_label("Counts").check()
    first.get_by_label("Reason").fill("Long enough.")
    first.get_by_role("button", name="Save decision").click()
    left = page.locator("[data-open-query]")
    expect(left).to_have_count(1)
    expect(left).to_be_focused()
    expect(left.get_by_label("Reason")).to_have_value(REASON)
    expect(left.get_by_label("Excluded from trends")).to_be_checked()


def test_two_browsers_cannot_overwrite_each_other(signed_in, coordinator):
    mine = open_first(signed_in(coordinator), coordinator)
    colleague = make_member(coordinator.program, Role.COORDINATOR)
    theirs = signed_in(colleague)
    theirs.goto(mine.url)
    theirs.keyboard.press("b")
    theirs.get_by_role("dialog").get_by_label("Note to the observer").fill("Look at stop 2.")
    theirs.get_by_role("dialog").get_by_role("button", name="Send back").click()
    expect(theirs.get_by_text("Sent back: ")).to_be_visible()
    query = mine.locator("[data-open-query]").first
    query.get_by_label("Counts").check()
    query.get_by_label("Reason").fill(REASON)
    query.get_by_role("button", name="Save decision").click()
    alert = mine.get_by_role("alert")
    expect(alert).to_contain_text("The visit is marked “sent back”")
    expect(alert).to_contain_text("Look at stop 2.")
    expect(alert).to_contain_text(REASON)


def test_without_scripts_the_note_has_a_page_of_its_own(signed_in, coordinator):
    page = signed_in(coordinator, java_script_enabled=False)
    page.goto(f"/{coordinator.program.slug}/review/")
    page.get_by_role("link", name=re.compile("15 Apr 2024")).click()
    expect(page.get_by_text("Keyboard shortcuts")).to_have_count(0)
    page.get_by_role("link", name="Send back").click()
    page.get_by_label("Note to the observer").fill("Look at stop 2.")
    page.get_by_role("button", name="Send back").click()
    expect(page.get_by_text("Sent back: ")).to_be_visible()


def test_axe_finds_nothing(signed_in, coordinator):
    page = signed_in(coordinator)
    page.goto(f"/{coordinator.program.slug}/review/")
    assert faults_in_every_look(page) == []
    page.get_by_role("link", name=re.compile("15 Apr 2024")).click()
    expect(page.locator(".leaflet-marker-icon").first).to_be_visible()
    assert faults_in_every_look(page) == []
    page.get_by_role("link", name="Send back").click()
    assert faults_in_every_look(page) == []
    page.keyboard.press("Escape")
    page.get_by_role("link", name="Correct cells").click()
    expect(page.get_by_role("heading", name="Correct the sheet")).to_be_visible()
    assert faults_in_every_look(page) == []
