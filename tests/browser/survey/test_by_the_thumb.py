"""A stop by one thumb, without a swipe."""

import pytest

from tests.support.thumb import Thumb

pytestmark = pytest.mark.django_db(transaction=True)

MOST_TAPS = 6
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
    phone.pass_time(minutes=4)
    phase(page, "Stop done")
    thumb.press("Next: stop 3")
    page.get_by_role("heading", name="Stop 3 of 10").wait_for()
    assert thumb.taps <= MOST_TAPS
