"""A program is set up from nothing on the screens, and has its first accepted visit.

A coordinator follows "Still to set up"; a volunteer joins by the mailed link, types a sheet and
submits it; the coordinator accepts.
"""

import datetime as dt
import re

import pytest
from playwright.sync_api import Page, expect

from accounts.models import Role
from surveys.demo.catalog import load_species
from surveys.models import CallIndex, Visit, VisitState
from tests.browser.test_spine import cell
from tests.support.builders import make_member, make_program
from tests.support.hand import Hand
from tests.support.mail import delivered

pytestmark = pytest.mark.django_db(transaction=True)
VOLUNTEER, PASSWORD = "sam@volunteers.example.org", "heron reed lantern 7"
LINK = re.compile(r"https?://[^/]+(/\S+)")
LINE = "\n".join(f"{43 + place / 100:.4f}, -89.4000" for place in range(0, 30, 5))
NIGHT, STOPS = dt.date(2026, 4, 20), 10
# The coordinator took 53 clicks, 195 keys and 195 s when this was written.
MOST_CLICKS, MOST_SECONDS = 60, 240


@pytest.fixture
def desk(signed_in):
    load_species()
    program = make_program(temperature_unit="F", distance_unit="mi")
    page = signed_in(make_member(program, Role.COORDINATOR))
    page.goto(f"/{program.slug}/desk/")
    return page


def test_from_nothing_to_the_first_accepted_visit(desk, open_context, record_property):
    hand = Hand()
    set_up(desk, hand)
    volunteer = join(open_context().new_page())
    follow(desk, hand, "Assign observers")
    hand.choose(desk.locator("#id_route"), index=1)
    sam = desk.locator("#id_observer option", has_text="Sam Alder").get_attribute("value")
    hand.choose(desk.get_by_label("Observer"), value=sam)
    hand.click(desk.get_by_role("button", name="Assign", exact=True))
    desk.get_by_role("table").get_by_text("Sam Alder").first.wait_for()
    hand.click(desk.get_by_role("link", name="Desk").first)
    expect(desk.get_by_role("heading", name="Desk")).to_be_visible()
    expect(desk.get_by_role("heading", name="Still to set up")).to_have_count(0)
    survey(volunteer)
    accept(desk, hand)
    visit = Visit.objects.get()
    assert visit.state == VisitState.ACCEPTED
    assert CallIndex.objects.get(period__visit=visit).counts_in_trends
    told = f"{hand.clicks} clicks, {hand.keys} keys, {hand.seconds:.0f} s of a hand"
    record_property("set up", told)
    assert hand.clicks <= MOST_CLICKS, told
    assert hand.seconds <= MOST_SECONDS, told


def follow(desk: Page, hand: Hand, link: str) -> None:
    """From the desk, which says what is missing."""
    hand.click(desk.get_by_role("link", name="Desk").first)
    hand.click(desk.get_by_role("link", name=link, exact=True))


def save(desk: Page, hand: Hand) -> None:
    hand.click(desk.get_by_role("button", name="Save", exact=True))
    desk.wait_for_load_state()
    said = desk.locator(".error-summary")
    assert not said.count(), said.inner_text()


def set_up(desk: Page, hand: Hand) -> None:
    follow(desk, hand, "Choose a calling region")
    hand.choose(desk.get_by_label("Calling region"), index=3)
    save(desk, hand)

    follow(desk, hand, "Set up a protocol")
    hand.click(desk.get_by_role("link", name="Set up a protocol"))
    hand.click(desk.get_by_role("link", name=re.compile("Start from this")).first)
    save(desk, hand)

    follow(desk, hand, "Choose species")
    hand.click(desk.get_by_role("link", name="Begin with your region"))
    hand.click(desk.locator("main form button.btn--primary").first)

    follow(desk, hand, "Add a route")
    hand.click(desk.get_by_role("link", name="Add a route").first)
    hand.type(desk.get_by_label("Code"), "R01")
    hand.type(desk.get_by_label("Name"), "Heron Road")
    hand.choose(desk.get_by_label("How the route was chosen"), value="random")
    save(desk, hand)
    hand.click(desk.get_by_role("link", name="Draw the line"))
    hand.type(desk.get_by_label("Points of the line"), LINE)
    save(desk, hand)
    hand.click(desk.get_by_role("link", name="Propose stops along the line"))
    hand.type(desk.get_by_label("First night"), f"{NIGHT}")
    hand.click(desk.get_by_role("button", name="Show the proposal"))
    hand.click(desk.get_by_role("button", name="Add these stops"))

    follow(desk, hand, "Invite someone")
    hand.type(desk.get_by_label("Email"), VOLUNTEER)
    hand.click(desk.get_by_role("button", name="Invite", exact=True))


def join(page: Page) -> Page:
    (mail,) = delivered()
    assert mail.to == [VOLUNTEER]
    page.goto(LINK.search(mail.body)[1])
    page.get_by_label("Your name").fill("Sam Alder")
    page.get_by_label("Choose a password").fill(PASSWORD)
    page.get_by_label("Repeat the password").fill(PASSWORD)
    page.get_by_role("button", name="Join").click()
    page.wait_for_url("**/tonight/")
    return page


def survey(page: Page) -> None:
    page.get_by_role("link", name="My visits").first.click()
    page.get_by_role("link", name="Enter a paper sheet").first.click()
    page.get_by_label("Route").select_option("R01")
    page.get_by_label("Night", exact=False).fill(f"{NIGHT}")
    page.get_by_role("button", name="Open the sheet").click()
    for end in ("start", "end"):
        cell(page, f"{end}.air_temperature").fill("55")
        cell(page, f"{end}.beaufort").fill("1")
        cell(page, f"{end}.sky").select_option("clear")
    for stop in range(1, STOPS + 1):
        cell(page, f"stops.{stop}.status").select_option("listened")
        minute = dt.datetime.combine(NIGHT, dt.time(21)) + dt.timedelta(minutes=12 * (stop - 1))
        for field, after in (("arrived_at", 0), ("started_at", 2), ("finished_at", 7)):
            clock = minute + dt.timedelta(minutes=after)
            cell(page, f"stops.{stop}.{field}").fill(f"{clock:%H:%M}")
        cell(page, f"stops.{stop}.air_temperature").fill("55")
    page.locator('input[id^="stops.1.calls."]').first.fill("2")
    expect(page.locator("#sheet-status")).to_contain_text("Saved at")
    page.get_by_role("button", name="Submit").click()
    expect(page.get_by_text("Submitted.", exact=False).first).to_be_visible()


def accept(desk: Page, hand: Hand) -> None:
    hand.click(desk.get_by_role("link", name="Review").first)
    hand.click(desk.locator("a.row-link").first)
    open_ones = desk.locator("form.settle:visible")
    for left in range(open_ones.count(), 0, -1):
        expect(open_ones).to_have_count(left)
        settle = open_ones.first
        hand.click(settle.get_by_text("Counts", exact=True))
        hand.type(settle.get_by_label("Reason"), "A fine night.")
        hand.click(settle.get_by_role("button", name=re.compile("Save decision")).first)
    hand.click(desk.get_by_role("button", name=re.compile("Accept")).first)
    expect(desk.get_by_text(re.compile("accepted", re.IGNORECASE)).first).to_be_visible()
