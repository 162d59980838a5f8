"""Every step of a night, in both themes, with axe and the sizes of what is pressed.

    SURVEY_PICTURES=FOLDER pytest -m slow tests/browser/survey/test_every_step.py

keeps a picture of each, as a phone of 390 x 844 shows it, and in other sizes up to a desk.
"""

import pytest

from surveys.check_ins.contacts import add_member
from surveys.models import Visit
from surveys.visits.drafts import save_cells
from surveys.visits.sheet.cells import CellChange
from tests.browser.conftest import (
    axe_findings,
    fill_sign_in,
    sign_in,
)
from tests.browser.survey.conftest import (
    NIGHT,
    PICTURES,
    send,
    survey_url,
)
from tests.support.builders import (
    make_member,
    make_person,
)

pytestmark = [pytest.mark.slow, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def phone_options() -> dict:
    """Nothing can be installed in a browser that forgets."""
    return {"permissions": ["geolocation"], "killable": True}


@pytest.fixture
def lights() -> tuple[str, ...]:
    return ("amber", "white")


class Walk:
    """Taps that every test here makes."""

    def __init__(self, phone, take_along):
        self.phone = phone
        self.page = take_along()

    def tap(self, name, **options):
        self.page.get_by_role("button", name=name, **options).first.click()

    def phase(self, words):
        self.page.locator(".phase__what", has_text=words).wait_for()

    def to_stop_1(self):
        self.tap("Survey the night of 15 April 2024")
        self.tap("Go to stop 1")
        self.page.get_by_role("button", name="I am at the stop").wait_for()

    def to_summary(self):
        self.page.locator("#bar-mark").click()
        self.page.get_by_role("heading", name="Summary").wait_for()


@pytest.fixture
def walk(phone, take_along):
    return Walk(phone, take_along)


def test_taking_along(phone, observer, route, look):
    page = phone.page
    sign_in(page, observer.person.email)
    page.goto(survey_url(observer))
    page.get_by_text("No route is saved on this phone yet").wait_for()
    look("00-nothing-yet")
    page.goto(f"/{observer.program.slug}/tonight/{route.code}/?night={NIGHT}")
    page.get_by_role("button", name="Save tonight on this phone").click()
    page.get_by_text("You can survey without signal.").wait_for()
    page.locator("[data-take]").scroll_into_view_if_needed()
    for theme in ("day", "night"):
        page.evaluate(
            "(n) => import('/static/web/js/theme.js').then(({ setTheme }) => setTheme(n))", theme
        )
        assert axe_findings(page) == []
        if PICTURES:
            page.screenshot(path=f"{PICTURES}/01-taken-along-{theme}.png")


def test_at_a_stop(walk, look):
    page, phone = walk.page, walk.phone
    look("02-home")
    page.get_by_text("Settings").click()
    page.get_by_text("Settings").scroll_into_view_if_needed()
    look("03-sounds-and-light")
    walk.tap("Survey the night of 15 April 2024")
    page.get_by_role("button", name="Go to stop 1").wait_for()
    look("04-route")
    walk.tap("Go to stop 1")
    page.get_by_text("give or take").wait_for()
    look("05-on-the-way")
    walk.tap("I am at the stop")
    walk.phase("Quiet wait")
    phone.pass_time(seconds=20)
    look("06-settling")
    phone.pass_time(seconds=41)
    walk.phase("Ready to listen")
    look("07-ready")
    walk.tap("Start listening")
    phone.pass_time(seconds=65)
    for code, taps in (("pseudacris-crucifer", 3), ("lithobates-sylvaticus", 1)):
        for _ in range(taps):
            page.locator(f'[data-species="{code}"]').click()
    look("08-listening")
    walk.tap("Boreal chorus frog: heard, but not sure")
    page.locator('[data-species="pseudacris-maculata"]').scroll_into_view_if_needed()
    look("09-not-sure")
    walk.tap("Another species")
    page.get_by_label("Name, common or scientific").fill("frog")
    look("10-search")
    walk.tap("Done")
    walk.tap("Loud event")
    walk.phase("Loud event")
    page.evaluate("scrollTo(0, 0)")
    look("11-interrupted")
    phone.pass_time(seconds=75)
    walk.tap("Keep listening")
    page.locator("#conditions-title").scroll_into_view_if_needed()
    for address in ("beaufort", "sky", "noise", "water_tonight", "air_temperature"):
        page.locator(f'[data-cell="stops.1.{address}"]').click()
        look(f"12-{address}")
        if page.locator("dialog[open] .picks").count():
            page.locator("dialog[open] .picks button").nth(1).click()
        else:
            page.locator("dialog[open] .steps button").last.click()
            walk.tap("Done")
    page.locator("#conditions-title").scroll_into_view_if_needed()
    look("13-conditions")
    phone.pass_time(minutes=5)
    walk.phase("Stop done")
    page.evaluate("scrollTo(0, 0)")
    look("14-done")
    walk.tap("Next stop", exact=True)
    page.get_by_role("heading", name="Stop 2 of 10").wait_for()
    walk.tap("Skip this stop")
    look("15-skip")
    walk.tap("Unsafe to stop")
    walk.phase("Skipped")
    look("16-skipped")
    walk.tap("Back")
    page.get_by_role("button", name="Go to stop 3").wait_for()
    page.get_by_text("2. Stop 2").scroll_into_view_if_needed()
    look("17-route-under-way")


@pytest.fixture
def contact(observer) -> None:
    """Somebody to be mailed when the observers are not back."""
    mate = make_member(observer.program)
    add_member(observer, mate.person_id, site_url="https://frogs.example.org/")


def test_summary_and_sending(contact, region, walk, look, observer):
    page, phone = walk.page, walk.phone
    phone.context.set_offline(True)
    walk.tap("Survey the night of 15 April 2024")
    page.get_by_text("Set a return time").click()
    look("18-return-time")
    page.get_by_label("Back by").fill("00:30")
    walk.tap("Set the return time")
    page.get_by_text("Until it is sent, no one is told").scroll_into_view_if_needed()
    look("19-return-time-set")
    walk.tap("Go to stop 1")
    page.get_by_role("button", name="I am at the stop").wait_for()
    walk.tap("I am at the stop")
    walk.tap("Start listening early")
    page.locator('[data-species="pseudacris-crucifer"]').click()
    phone.pass_time(minutes=4)
    walk.phase("Stop done")
    walk.to_summary()
    look("20-summary")
    page.get_by_label("Second observer, a guest").fill("Alex Marsh")
    page.get_by_label("Second observer, a guest").scroll_into_view_if_needed()
    look("21-second-observer")
    page.locator("#findings-title").scroll_into_view_if_needed()
    look("22-remarks")
    walk.tap("Submit the visit")
    look("23-submit")
    walk.tap("Yes, submit")
    page.get_by_text("No signal. Everything is saved").wait_for()
    page.evaluate("scrollTo(0, 0)")
    look("24-offline")
    walk.tap("Back")
    walk.tap("Back")
    page.get_by_role("heading", name="Visits on this phone").wait_for()
    look("25-home-offline")
    walk.to_summary()
    phone.context.clear_cookies(name="sessionid")
    phone.context.set_offline(False)
    send(page)
    page.get_by_text("You are signed out").wait_for()
    look("26-signed-out")
    other = make_member(observer.program, person=make_person("Sam Alder"))
    tab = phone.context.new_page()
    sign_in(tab, other.person.email)
    tab.close()
    send(page)
    page.get_by_text("You are signed in as Sam Alder").wait_for()
    look("27-other-person")
    page.get_by_role("link", name="Sign in as someone else").click()
    page.get_by_role("button", name="Sign out").last.click()
    fill_sign_in(page, observer.person.email)
    page.get_by_text("This visit is submitted").wait_for()
    look("28-submitted")
    page.goto(survey_url(observer) + "#/home")
    page.get_by_text("Everything on this phone is on the server.").wait_for()
    look("29-home-sent")
    page.get_by_role("link", name="Guide, cautions and codes").click()
    page.get_by_role("link", name="How to survey").wait_for()
    look("35-guide")
    page.get_by_role("link", name="Species: Marsh country").click()
    page.get_by_text("Sounds like it").click()
    look("36-guide-species")


def test_it_can_be_installed(walk):
    session = walk.phone.context.new_cdp_session(walk.page)
    assert session.send("Page.getInstallabilityErrors") == {"installabilityErrors": []}


def test_conflict(walk, look, observer):
    page, phone = walk.page, walk.phone
    walk.tap("Survey the night of 15 April 2024")
    walk.tap("Finish route: weather, notes and submit")
    notes = page.get_by_label("Notes on the evening")
    notes.fill("mist")
    send(page)
    page.get_by_text("All on the server since").wait_for()
    look("30-synced")
    phone.context.set_offline(True)
    notes.fill("mist over the water")
    visit = Visit.objects.get()
    save_cells(observer, visit.pk, {"notes": CellChange(was="mist", now="fog")})
    phone.context.set_offline(False)
    send(page)
    page.get_by_role("button", name="Use the other: fog").wait_for()
    look("31-conflict")


def test_a_clock_that_leaps_and_a_visit_thrown_away(walk, look):
    page = walk.page
    walk.to_stop_1()
    walk.tap("I am at the stop")
    walk.tap("Start listening early")
    walk.phase("Listening")
    page.evaluate(
        """() => import("/static/survey/clock.js")
          .then(({ setClock }) => setClock(() => Date.now() + 3 * 3_600_000))"""
    )
    page.locator(".message", has_text="The phone’s clock jumped 3 h ahead.").wait_for()
    look("32-clock-leapt")
    walk.tap("Clock was changed: keep listening")
    walk.to_summary()
    walk.tap("Delete draft")
    look("33-throw-away")
    page.locator("dialog[open]").get_by_role("button", name="Delete draft").click()
    page.get_by_text("Deleted drafts (1)").click()
    look("34-thrown-away")
