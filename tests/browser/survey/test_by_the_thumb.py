"""A stop by one thumb, without a swipe."""

import pytest

from surveys.models import ChecklistEntry, Species
from tests.browser.conftest import PHONE
from tests.browser.survey.conftest import COVERED, LARGE_TEXT, PICTURES
from tests.support.thumb import Thumb

pytestmark = pytest.mark.django_db(transaction=True)

MOST_TAPS = 6
# Width, height, and how many species are to stand between bar and dock.
ROOM = ((390, 844, 6), (320, 568, 3), (844, 390, 3), (568, 320, 3))
# In percent of the usual text size (WCAG 2.2, 1.4.4: up to 200).
LARGE = ((390, 150), (390, 200), (320, 150), (320, 200))
IN_VIEW = """() => {
  const top = document.querySelector(".bar").getBoundingClientRect().bottom;
  const bottom = document.querySelector(".dock").getBoundingClientRect().top;
  return [...document.querySelectorAll(".calls__row")]
    .map((row) => row.getBoundingClientRect())
    .filter((box) => box.height && box.top >= top && box.bottom <= bottom).length;
}"""
# By how much a sentence on what was just saved moves the species.
SHIFT = """() => {
  const [bar, note] = [document.querySelector(".bar"), document.querySelector("#snack > div")];
  const { parentElement: place } = note;
  const high = bar.offsetHeight;
  note.remove();
  const shift = high - bar.offsetHeight;
  place.append(note);
  return shift;
}"""
# Text twice as large: the countdown stays in view, every species can be brought into view, and its
# small buttons are in one line.
HIDDEN = """() => {
  const bar = document.querySelector(".bar").getBoundingClientRect().bottom;
  const dock = document.querySelector(".dock").getBoundingClientRect();
  const clock = document.querySelector("#bar-clock").getBoundingClientRect();
  const tallest = Math.max(
    ...[...document.querySelectorAll(".calls__row")].map((row) => row.offsetHeight),
  );
  const tops = (selector) =>
    [...document.querySelectorAll(selector)].map((one) => one.getBoundingClientRect().top).join();
  return [
    ...(tops(".calls__unsure") === tops(".calls__about") ? [] : ["a small button stands alone"]),
    ...(clock.height && clock.right <= innerWidth ? [] : ["the countdown is out of view"]),
    ...(dock.top - bar < tallest ? [`${dock.top - bar} px for a species of ${tallest} px`] : []),
  ];
}"""
# Stop 1 as if it had been surveyed.
SURVEYED = """async () => {
  const { writeStop } = await import("/static/survey/model.js");
  await writeStop(1, {
    status: "listened",
    arrived_at: "20:05:00",
    started_at: "20:06:00",
    finished_at: "20:09:00",
    air_temperature: "12",
    beaufort: "2",
    sky: "clear",
    noise: "quiet",
  });
}"""
READ_AT_STOP_2 = """async () => {
  const { stopText } = await import("/static/survey/model.js");
  return ["sky", "beaufort", "noise", "air_temperature"].map(stopText(2));
}"""


@pytest.fixture
def thumb(phone, take_along, route):
    """On the way to stop 2, after stop 1; the phone is far from both, and it is early."""
    route.protocol.versions.update(
        earliest_start_after_sunset_min=60, max_distance_from_stop_m="100"
    )
    ChecklistEntry.objects.update(
        calls_from_month=None, calls_from_day=None, calls_to_month=None, calls_to_day=None
    )
    Species.objects.update(call="long trill")  # So that each has a button for how it sounds.
    page = take_along()
    page.get_by_role("button", name="Survey the night of 15 April 2024").click()
    page.get_by_role("button", name="Go to stop 1").wait_for()
    page.evaluate(SURVEYED)
    page.get_by_role("button", name="Go to stop 2").click()
    page.get_by_text("give or take").wait_for()
    return Thumb(page)


def phase(page, words):
    page.locator(".phase__what", has_text=words).wait_for()


def test_a_stop_with_two_species_and_the_same_weather(phone, thumb):
    page = thumb.page
    dock = page.locator(".dock")
    dock.get_by_text("Not before 20:41").wait_for()
    dock.get_by_text("from the stop.").wait_for()
    thumb.press("I am at the stop")
    dock.get_by_text("The quiet wait is not over.").wait_for()
    dock.get_by_text("4 readings missing").wait_for()
    dock.get_by_text("Same as stop 1: Sky clear, Wind 2, Noise quiet").wait_for()
    thumb.press("Same, 11°")
    dock.get_by_text("4 readings missing").wait_for(state="hidden")
    assert page.evaluate(READ_AT_STOP_2) == ["clear", "2", "quiet", "11"]
    phone.pass_time(minutes=15)
    dock.get_by_text("Not before").wait_for(state="hidden")
    thumb.press("Start listening")
    phase(page, "Listening")
    thumb.hear("pseudacris-crucifer")
    thumb.hear("anaxyrus-americanus")
    look_from_every_side(page)
    phone.pass_time(minutes=4)
    phase(page, "Stop done")
    thumb.press("Next: stop 3")
    page.get_by_role("heading", name="Stop 3 of 10").wait_for()
    assert thumb.taps <= MOST_TAPS
    correct_an_earlier_stop(page)


def look_from_every_side(page):
    """The listening screen on its side, on a small phone, and with large text."""
    found = {}
    for width, height, least in ROOM:
        page.set_viewport_size({"width": width, "height": height})
        page.evaluate("scrollTo(0, 0)")
        keep_picture(page, f"{width}x{height}")
        seen = page.evaluate(IN_VIEW)
        covered, shift = page.evaluate(COVERED), page.evaluate(SHIFT)
        if seen < least or covered or shift:
            found[width, height] = seen, covered, shift
    for width, percent in LARGE:
        page.set_viewport_size({"width": width, "height": 844 if width == 390 else 568})
        page.evaluate(
            "(size) => { document.documentElement.style.fontSize = `${size}%`; }", percent
        )
        keep_picture(page, f"{width}-{percent}")
        faults = [*page.evaluate(LARGE_TEXT), *page.evaluate(HIDDEN), *page.evaluate(COVERED)]
        if faults:
            found[width, f"{percent}%"] = faults
    page.evaluate("document.documentElement.style.fontSize = ''")
    page.set_viewport_size(PHONE)
    assert found == {}


def keep_picture(page, name):
    if PICTURES:
        page.screenshot(path=f"{PICTURES}/thumb-{name}.png")


def correct_an_earlier_stop(page):
    """From stop 3: the sky of stop 1 in three taps to its picker, its time by its finding."""
    page.locator("#bar-mark").click()
    page.get_by_role("button", name="1. Stop 1").first.click()
    page.locator('[data-cell="stops.1.sky"]').click()
    page.get_by_role("button", name="overcast").click()
    page.locator("#bar-mark").click()
    early = page.locator(".finding", has_text="the earliest start is")
    early.get_by_role("button", name="Correct at stop 1").click()
    page.locator("#time-started_at:focus").wait_for()
