"""A night on the phone in a language that nobody speaks: what is not marked shows."""

import re

import pytest
from playwright.sync_api import Page, expect

from surveys.models import ChecklistEntry, Program, ProtocolVersion, Stop, Visit
from surveys.visits.drafts import save_cells
from surveys.visits.sheet.cells import CellChange
from tests.browser.conftest import give_session
from tests.browser.survey.conftest import NIGHT, survey_url
from tests.support.builders import (
    make_joint_entry,
    make_member,
    make_own_field,
    make_person,
    make_species,
)
from tests.support.pseudo import (
    in_pseudo_language,
    pseudo,
    unmarked,
    words_of,
    words_of_the_database,
)

READ = """() => [...document.querySelectorAll("body *:not(script, style)")].flatMap((element) => [
  ...["aria-label", "title", "placeholder", "alt"].map((name) => element.getAttribute(name)),
  ...[...element.childNodes].filter((node) => node.nodeType === 3).map((node) => node.data),
]).filter((text) => text && text.trim())"""
OWN = {"salinity": "number", "egg_masses": "whole", "mown": "yes_no", "shore": "choice"}
CONDITIONS = (
    "beaufort", "sky", "noise", "water_tonight", "air_temperature", *(f"own.{key}" for key in OWN),
)  # fmt: skip

# Names on the map of the phone: who made it, and the county of the route.
OF_THE_MAP = frozenset(words_of(["Natural Earth, U.S. Census Bureau", "Dane, Wisconsin"]))


def begins(text: str) -> re.Pattern[str]:
    """A translated text up to its first value."""
    return re.compile(re.escape(pseudo(text).partition("{")[0].rstrip(" ⟧")))


class Walk:
    """Taps by the texts of the sources, and keeps what a screen says unmarked."""

    def __init__(self, page: Page) -> None:
        self.page = page
        self.known = words_of_the_database() | OF_THE_MAP
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
def phone_options() -> dict:
    return {"permissions": ["geolocation", "microphone"], "new": True}


@pytest.fixture
def walk(phone, live_server, observer, route):
    with in_pseudo_language():
        give_session(phone.context, observer, live_server.url)
        yield Walk(phone.page)


@pytest.mark.django_db(transaction=True)
def test_a_night_on_the_phone_says_nothing_unmarked(walk, phone, observer, route):
    page = phone.page
    ask_for_more(observer.program)
    walk.known |= words_of_the_database()
    page.goto(survey_url(observer))
    page.get_by_text(begins("No route is saved on this phone yet")).first.wait_for()
    walk.look("nothing saved")
    save_tonight(walk, observer, route)
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
    page.locator('[data-cell="own.leader"]').click()
    walk.look("own text")
    walk.tap("Done")
    walk.tap("Submit the visit")
    walk.look("before submitting")
    walk.tap("Yes, submit")
    state = pseudo("This visit is {state_words}.").replace("{state_words}", pseudo("submitted"))
    page.get_by_text(state).wait_for()
    walk.look("submitted")
    assert walk.left == {}


@pytest.mark.django_db(transaction=True)
def test_what_can_come_between_says_nothing_unmarked(walk, phone, observer, route):
    """Look-alikes, recordings, two devices that differ, and a session that has ended."""
    page = phone.page
    members = [make_species(f"Hyla {name}", f"Hyla {name}") for name in ("prima", "secunda")]
    for species in (*members, make_joint_entry("Hyla prima or secunda", *members)):
        ChecklistEntry.objects.create(program=observer.program, species=species, order=20)
    walk.known |= words_of_the_database()
    save_tonight(walk, observer, route)
    walk.tap("Survey the night of {day}")
    walk.tap("Go to stop {upcoming}")
    walk.tap("I am at the stop")
    walk.tap("Start listening early")
    page.get_by_role("button", name="Hyla prima or secunda").first.click()
    walk.look("joint entry")
    record_calls(walk)
    page.locator("#bar-mark").click()
    choose_between_two_devices(walk, phone, observer)
    lose_the_session(walk, phone, observer)
    walk.tap("Delete draft")
    walk.look("before deleting")
    assert walk.left == {}


def ask_for_more(program) -> None:
    """A listening radius, own fields of every kind, and all that the emergency card can say."""
    ProtocolVersion.objects.update(listening_radius_m=100)
    Program.objects.update(emergency_contact="Dana Alder")
    Stop.objects.update(road="Ferry Road", county="Alder County")
    for key, kind in OWN.items():
        choices = [["reed", "Reed"], ["open", "Bare"]] if kind == "choice" else []
        make_own_field(program, key.replace("_", " "), kind=kind, choices=choices)
    make_own_field(program, "Leader", kind="text", per="visit")


def save_tonight(walk: Walk, observer, route) -> None:
    page = walk.page
    page.goto(f"/{observer.program.slug}/tonight/{route.code}/?night={NIGHT}")
    walk.tap("Save tonight on this phone")
    page.get_by_text(begins("You can survey without signal.")).wait_for()
    walk.look("saved")
    page.goto(survey_url(observer))
    page.get_by_role("button", name=begins("Survey the night of {day}")).wait_for()


def record_calls(walk: Walk) -> None:
    page = walk.page
    walk.tap("Unknown call")
    walk.look("unknown call")
    walk.tap("Record the call")
    page.get_by_text(begins("Hold still and point the phone at the calls.")).wait_for()
    walk.look("recording")
    walk.tap("Stop and save")
    page.get_by_label(pseudo("Species"), exact=True).wait_for()
    walk.look("an unknown call, recorded")
    walk.tap("Done")
    walk.tap("Record this call")
    page.get_by_text(begins("Hold still and point the phone at the calls.")).wait_for()
    walk.tap("Stop and save")
    page.get_by_label(pseudo("Species"), exact=True).wait_for()
    walk.look("a recording")
    walk.tap("Delete this recording")
    walk.look("before deleting a recording")
    walk.tap("Delete it")
    walk.look("recordings")


def choose_between_two_devices(walk: Walk, phone, observer) -> None:
    page = walk.page
    notes = page.get_by_label(pseudo("Notes on the evening"))
    notes.fill("mist")
    walk.tap("Send now")
    page.get_by_text(begins("All on the server since {clock}.")).wait_for()
    phone.context.set_offline(True)
    notes.fill("mist over the water")
    air = CellChange(was="", now="12")
    changes = {"notes": CellChange(was="mist", now="fog"), "start.air_temperature": air}
    save_cells(observer, Visit.objects.get().pk, changes)
    walk.known |= {"mist", "over", "the", "water", "fog"}
    phone.context.set_offline(False)
    walk.tap("Send now")
    page.get_by_role("button", name=begins("Use the other")).wait_for()
    walk.look("two devices")
    page.get_by_role("button", name=begins("Use the other")).click()


def lose_the_session(walk: Walk, phone, observer) -> None:
    page = walk.page
    phone.context.clear_cookies(name="sessionid")
    page.get_by_label(pseudo("Notes on the evening")).fill("mist")
    walk.tap("Send now")
    page.get_by_text(begins("You are signed out.")).wait_for()
    walk.look("signed out")
    other = make_member(observer.program, person=make_person("Sam Alder"))
    walk.known |= words_of_the_database()
    give_session(phone.context, other, page.url.split("/survey")[0].rsplit("/", 1)[0])
    walk.tap("Send now")
    page.get_by_text(begins("You are signed in as {name}")).wait_for()
    walk.look("someone else")


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
    page.get_by_text(begins("Near: at least one called within {radius}.")).wait_for()
    walk.look("listening")
    page.locator(".calls__where button:visible").last.click()
    walk.look("far")
    page.locator(".sos summary").click()
    page.get_by_text(begins("Program contact: {contact}")).first.wait_for()
    walk.look("emergency")
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
            continue
        if page.locator("dialog[open] .steps").count():
            page.locator("dialog[open] .steps button").last.click()
        walk.tap("Done")
    phone.pass_time(minutes=5)
    walk.phase("Stop done")
    walk.look("stop done")
