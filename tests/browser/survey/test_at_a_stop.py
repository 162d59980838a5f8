"""What the phone does by itself at a stop: it stays awake, tells, notices, and keeps the time."""

import pytest

from tests.browser.survey.sync.handset import FULL_DISK

pytestmark = pytest.mark.django_db(transaction=True)

# Notes each lock of the screen, vibration and tone; all of them happen as ever.
SPY = """() => {
  window.noted = { held: 0, asked: 0, vibrations: 0, tones: 0 };
  const request = navigator.wakeLock.request.bind(navigator.wakeLock);
  navigator.wakeLock.request = async (kind) => {
    noted.asked += 1;
    const lock = await request(kind);
    noted.held += 1;
    lock.addEventListener("release", () => { noted.held -= 1; });
    return lock;
  };
  const vibrate = navigator.vibrate.bind(navigator);
  navigator.vibrate = (pattern) => { noted.vibrations += 1; return vibrate(pattern); };
  const tone = AudioContext.prototype.createOscillator;
  AudioContext.prototype.createOscillator = function () {
    noted.tones += 1;
    return tone.call(this);
  };
}"""


@pytest.fixture
def at_stop_1(phone, take_along):
    """At the first stop, with an ear for what the phone does."""

    def go(**settings):
        # Permissions that are not named count as refused.
        phone.context.grant_permissions(["geolocation", "screen-wake-lock"])
        page = take_along()
        page.evaluate(SPY)
        page.get_by_text("Settings").click()
        for label, wanted in settings.items():
            page.get_by_label(label.replace("_", " "), exact=False).set_checked(wanted)
        page.get_by_role("button", name="Survey the night of 15 April 2024").click()
        page.get_by_role("button", name="Go to stop 1").click()
        page.get_by_role("button", name="I am at the stop").click()
        phase(page, "Quiet wait")
        return page

    return go


def phase(page, words):
    page.locator(".phase__what", has_text=words).wait_for()


def ring(page):
    minutes, seconds = page.locator(".ring__time").inner_text().split(":")
    return 60 * int(minutes) + int(seconds)


def noted(page):
    return page.evaluate("() => window.noted")


def test_the_screen_stays_awake_while_something_is_timed(phone, at_stop_1):
    page = at_stop_1()
    page.wait_for_function("() => noted.held === 1")
    phone.pass_time(seconds=61)
    page.get_by_role("button", name="Start listening").click()
    phase(page, "Listening")
    assert (noted(page)["asked"], noted(page)["held"]) == (1, 1)
    phone.pass_time(minutes=4)
    phase(page, "Stop done")
    page.wait_for_function("() => noted.held === 0")


def test_the_signal_comes_on_every_screen(phone, at_stop_1):
    """The countdown stands in the bar, the screen stays awake, the end is written."""
    page = at_stop_1()
    page.wait_for_function("() => noted.held === 1")
    page.get_by_role("button", name="Back").click()
    page.get_by_role("heading", name="Tonight’s visit").wait_for()
    before = noted(page)
    assert before["held"] == 1
    phone.pass_time(seconds=61)
    page.get_by_text("The wait at stop 1 is over.").first.wait_for()
    assert noted(page)["vibrations"] > before["vibrations"]
    page.get_by_role("button", name="Stop 1: ready to listen").click()
    page.get_by_role("button", name="Start listening").click()
    page.evaluate("location.hash = location.hash.replace('stop', 'summary')")
    page.get_by_role("button", name="Stop 1: listening, 2:").wait_for()
    before = noted(page)
    phone.pass_time(minutes=4)
    page.get_by_text("Listening time at stop 1 is over.").first.wait_for()
    page.wait_for_function("() => noted.held === 0")
    assert noted(page)["vibrations"] > before["vibrations"]
    page.locator("#bar-clock").wait_for(state="hidden")


def test_the_signal_comes_on_a_full_disk_and_the_end_is_written_later(phone, at_stop_1):
    page = at_stop_1()
    page.get_by_role("button", name="Start listening early").click()
    # Said once the disk has it.
    page.locator("#snack", has_text="Listening started").wait_for()
    before = noted(page)
    page.evaluate(FULL_DISK)
    phone.pass_time(minutes=4)
    page.get_by_text("This phone is full: your last entry was not saved.").first.wait_for()
    phase(page, "Time is up")
    assert noted(page)["vibrations"] == before["vibrations"] + 1
    page.evaluate("() => window.freeDisk()")
    page.get_by_role("button", name="Save end time").click()
    phase(page, "Stop done")


def test_leaving_a_stop_in_the_middle_of_listening_asks(phone, at_stop_1):
    page = at_stop_1()
    page.get_by_role("button", name="Start listening early").click()
    phase(page, "Listening")
    page.get_by_role("button", name="Next stop").click()
    page.get_by_role("button", name="Stay here").click()
    phase(page, "Listening")
    page.get_by_role("button", name="Next stop").click()
    page.get_by_role("button", name="Look at stop 2, keep listening").click()
    page.get_by_text(
        "You are listening at stop 1. What you tap here is saved at stop 2."
    ).wait_for()
    page.get_by_role("button", name="Back to stop 1").click()
    phase(page, "Listening")
    page.get_by_role("button", name="Next stop").click()
    page.get_by_role("button", name="Stop listening early and continue").click()
    page.get_by_role("heading", name="Stop 2 of 10").wait_for()
    assert not page.get_by_text("What you tap here is saved at stop 2").is_visible()
    page.get_by_role("button", name="Previous stop").click()
    phase(page, "Stop done")


def test_what_is_not_stored_is_not_shown(at_stop_1):
    page = at_stop_1()
    toad = page.locator('[data-species="anaxyrus-americanus"]')
    toad.click()
    page.locator('[data-species="anaxyrus-americanus"][aria-label*="call index 1"]').wait_for()
    page.evaluate(FULL_DISK)
    toad.click()
    page.get_by_text("This phone is full: your last entry was not saved.").first.wait_for()
    assert "call index 1" in toad.get_attribute("aria-label")
    page.evaluate("() => window.freeDisk()")
    toad.click()
    page.locator('[data-species="anaxyrus-americanus"][aria-label*="call index 2"]').wait_for()


def test_starting_over_and_back_with_a_picker_open(phone, at_stop_1):
    page = at_stop_1()
    page.get_by_role("button", name="Start listening early").click()
    toad = page.locator('[data-species="anaxyrus-americanus"]')
    toad.click()
    page.locator('[data-cell="stops.1.sky"]').click()
    page.go_back()
    page.locator("dialog").wait_for(state="detached")
    phase(page, "Listening")
    page.get_by_role("button", name="Start listening over").click()
    page.get_by_text("Listening and species start over").first.wait_for()
    assert "not heard" in toad.get_attribute("aria-label")
    page.get_by_role("button", name="Undo").click()
    page.locator('[data-species="anaxyrus-americanus"][aria-label*="call index 1"]').wait_for()
    phase(page, "Listening")


@pytest.mark.parametrize("on", [True, False])
def test_sounds_and_vibration_can_be_off(phone, at_stop_1, on):
    page = at_stop_1(Tone_when=on, Vibrate_when=on)
    before = noted(page)
    phone.pass_time(seconds=61)
    phase(page, "Ready to listen")
    after = noted(page)
    assert (after["vibrations"] > before["vibrations"]) is on
    assert (after["tones"] > before["tones"]) is on


# A thumb that was on its way to "I am at the stop" when the phone noticed the arrival.
PRESS_WHAT_COMES = """() => {
  window.pressed = false;
  const look = () => {
    const main = document.querySelector(".dock .btn--large");
    if (!main.innerText.includes("Start listening early")) return setTimeout(look, 5);
    main.click();
    window.pressed = true;
  };
  look();
}"""


def test_arrival_is_noticed_once(phone, take_along, route):
    page = take_along()
    page.get_by_role("button", name="Survey the night of 15 April 2024").click()
    page.get_by_role("button", name="Go to stop 1").click()
    page.get_by_text("northwest").or_(page.get_by_text("southeast")).first.wait_for()
    place = route.stops.get(number=1).place
    here = {"latitude": place.y + 0.0001, "longitude": place.x, "accuracy": 8}
    phone.context.set_geolocation(here | {"accuracy": 200})
    page.get_by_text("give or take 200").wait_for()
    phase(page, "On the way")
    page.evaluate(PRESS_WHAT_COMES)
    phone.context.set_geolocation(here)
    page.wait_for_function("() => window.pressed")
    phase(page, "Quiet wait")
    page.get_by_role("button", name="Undo").click()
    phase(page, "On the way")
    phone.context.set_geolocation(here | {"longitude": place.x + 0.00001})
    page.wait_for_timeout(1_000)
    phase(page, "On the way")
    page.get_by_role("button", name="I am at the stop").click()
    phone.pass_time(seconds=2)
    page.get_by_role("button", name="Start listening early").click()
    phase(page, "Listening")


def test_a_double_tap_does_not_end_the_listening(phone, at_stop_1):
    page = at_stop_1()
    phone.pass_time(seconds=61)
    phase(page, "Ready to listen")
    page.get_by_role("button", name="Start listening").dblclick()
    phase(page, "Listening")


@pytest.fixture
def interrupted(phone, route, at_stop_1):
    """Listening for a minute of three when a loud event begins, which lasts a minute and a half."""

    def go(rule, loud):
        route.protocol.versions.update(interruption=rule, longest_listening_time_s=300)
        page = at_stop_1()
        page.get_by_role("button", name="Start listening early").click()
        phase(page, "Listening")
        phone.pass_time(seconds=60)
        assert 100 < ring(page) <= 120
        page.get_by_role("button", name=loud).click()
        return page

    return go


def test_a_pause_stops_the_clock(phone, interrupted):
    page = interrupted("pause", "Loud event: pause")
    phase(page, "Loud event")
    left = ring(page)
    phone.pass_time(seconds=90)
    page.get_by_text("The clock is paused until it is quiet").wait_for()
    assert ring(page) == left
    page.get_by_role("button", name="Keep listening").click()
    phase(page, "Listening")
    assert left - 20 < ring(page) <= left
    phone.pass_time(seconds=120)
    phase(page, "Stop done")


def test_a_pause_survives_a_reload(phone, interrupted):
    page = interrupted("pause", "Loud event: pause")
    phase(page, "Loud event")
    left = ring(page)
    page.reload()
    phase(page, "Loud event")
    assert ring(page) == left


def test_an_interruption_begins_anew(phone, interrupted):
    page = interrupted("restart", "Loud event: start over")
    phase(page, "Loud event")
    phone.pass_time(seconds=90)
    page.get_by_role("button", name="Start over", exact=True).click()
    phase(page, "Listening")
    assert 160 < ring(page) <= 180


def test_noise_makes_the_listening_longer_once(phone, interrupted):
    page = interrupted("extend", "Noise: listen longer")
    page.get_by_text("Listening time is now 5 min").first.wait_for()
    phase(page, "Listening")
    assert 210 < ring(page) <= 240
    assert not page.get_by_role("button", name="Noise: listen longer").is_visible()


def test_a_phone_that_slept_keeps_the_time(phone, at_stop_1):
    """The page is frozen for an hour, as under a switched-off screen: no timer of it ran."""
    page = at_stop_1()
    phone.pass_time(hours=1)
    phase(page, "Ready to listen")
    assert ring(page) == 180
