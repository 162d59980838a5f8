"""A night on the phone in a language that nobody speaks: what is not marked shows."""

import re

import pytest
from playwright.sync_api import Page, expect

from tests.browser.conftest import give_session
from tests.browser.survey.conftest import NIGHT, survey_url
from tests.support.pseudo import in_pseudo_language, pseudo, unmarked, words_of_the_database

READ = """() => [...document.querySelectorAll("body *:not(script, style)")].flatMap((element) => [
  ...["aria-label", "title", "placeholder", "alt"].map((name) => element.getAttribute(name)),
  ...[...element.childNodes].filter((node) => node.nodeType === 3).map((node) => node.data),
]).filter((text) => text && text.trim())"""
CONDITIONS = ("beaufort", "sky", "noise", "water_tonight", "air_temperature")


def begins(text: str) -> re.Pattern[str]:
    """A translated text up to its first value."""
    return re.compile(re.escape(pseudo(text).partition("{")[0].rstrip(" ⟧")))


class Walk:
    """Taps by the texts of the sources, and keeps what a screen says unmarked."""

    def __init__(self, page: Page) -> None:
        self.page = page
        self.known = words_of_the_database()
        self.left: dict[str, list[str]] = {}

    def tap(self, text: str) -> None:
        self.page.get_by_role("button", name=begins(text)).first.click()

    def phase(self, text: str) -> None:
        expect(self.page.locator(".phase__what")).to_contain_text(begins(text))

    def look(self, screen: str) -> None:
        texts = self.page.evaluate(READ)
        if words := [text for text in texts if unmarked(text, self.known)]:
            self.left[screen] = list(dict.fromkeys(words))


@pytest.fixture
def walk(phone, live_server, observer, route):
    with in_pseudo_language():
        give_session(phone.context, observer, live_server.url)
        yield Walk(phone.page)


@pytest.mark.django_db(transaction=True)
def test_a_night_on_the_phone_says_nothing_unmarked(walk, phone, observer, route):
    page = phone.page
    page.goto(survey_url(observer))
    page.get_by_text(begins("No route is saved on this phone yet")).first.wait_for()
    walk.look("nothing saved")
    page.goto(f"/{observer.program.slug}/tonight/{route.code}/?night={NIGHT}")
    walk.tap("Save tonight on this phone")
    page.get_by_text(begins("You can survey without signal.")).wait_for()
    walk.look("saved")
    page.goto(survey_url(observer))
    page.get_by_role("button", name=begins("Survey the night of {day}")).wait_for()
    walk.look("home")
    survey_a_stop(walk, phone)
    walk.tap("Next stop")
    walk.tap("Skip this stop")
    walk.look("skip")
    walk.tap("Unsafe to stop")
    walk.phase("Skipped")
    walk.look("skipped")
    page.locator("#bar-mark").click()
    page.get_by_role("button", name=begins("Submit the visit")).wait_for()
    walk.look("summary")
    walk.tap("Submit the visit")
    walk.look("before submitting")
    walk.tap("Yes, submit")
    state = pseudo("This visit is {state_words}.").replace("{state_words}", pseudo("submitted"))
    page.get_by_text(state).wait_for()
    walk.look("submitted")
    assert walk.left == {}


def survey_a_stop(walk: Walk, phone) -> None:
    """Stop 1, from the way there to its end, with every dialog that it offers."""
    page = phone.page
    walk.tap("Survey the night of {day}")
    page.get_by_role("button", name=begins("Go to stop {upcoming}")).wait_for()
    walk.look("route")
    walk.tap("Go to stop {upcoming}")
    walk.look("on the way")
    walk.tap("I am at the stop")
    walk.phase("Quiet wait")
    walk.look("quiet wait")
    phone.pass_time(seconds=61)
    walk.phase("Ready to listen")
    walk.tap("Start listening")
    page.locator('[data-species="pseudacris-crucifer"]').click()
    walk.phase("Listening")
    walk.look("listening")
    walk.tap("Another species")
    walk.look("search")
    walk.tap("Done")
    walk.tap("Loud event")
    walk.phase("Loud event")
    walk.look("loud event")
    walk.tap("Keep listening")
    for name in CONDITIONS:
        page.locator(f'[data-cell="stops.1.{name}"]').click()
        walk.look(name)
        if page.locator("dialog[open] .picks").count():
            page.locator("dialog[open] .picks button").nth(1).click()
        else:
            page.locator("dialog[open] .steps button").last.click()
            walk.tap("Done")
    phone.pass_time(minutes=5)
    walk.phase("Stop done")
    walk.look("stop done")
