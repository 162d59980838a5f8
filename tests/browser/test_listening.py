"""A coordinator listens to a recording on Review, an observer on the own visit and sheet."""

import os
import re
from pathlib import Path

import pytest
from playwright.sync_api import expect

from accounts.models import Role
from surveys.models import RecordingPicture, Species
from surveys.visits.blind.answering import answer_blindly
from surveys.visits.media.pictures import make_picture
from tests.browser.conftest import (
    DESKTOP,
    PHONE,
    axe_findings,
    faults_of,
    set_theme,
)
from tests.support.builders import (
    make_accepted_visit,
    make_checklist,
    make_member,
    make_route,
)
from tests.support.callers import Caller, sung
from tests.support.encoded import encoded
from tests.support.sheets import (
    make_draft,
    make_submitted,
)
from tests.support.sounds import (
    drawn,
    keep,
    make_stored_picture,
    make_stored_reference,
    sound,
    stored_band,
    wave_file,
)

pytestmark = pytest.mark.django_db(transaction=True)
SECONDS = 60
SIZES = (("desktop", DESKTOP), ("phone", PHONE))
LOOKS = [(size, view, theme) for size, view in SIZES for theme in ("day", "night")]
PICTURES = os.environ.get("SURVEY_PICTURES")
CALLERS = [Caller(pitch_hz=2950, note_s=0.2), Caller(pitch_hz=900, pulse_rate=25)]
# Plays from the middle and says where the sound is then.
LISTEN = """async (audio) => {
  await new Promise((ready, failed) => {
    audio.onloadedmetadata = ready;
    audio.onerror = () => failed(new Error(audio.error.message));
    audio.load();
    audio.preload = "auto";
  });
  audio.currentTime = 45;
  await new Promise((there) => { audio.onseeked = there; });
  return [audio.duration, audio.currentTime];
}"""
# The second time that the part begins, as it is repeated.
PLAYED_TWICE = """() => {
  const audio = document.querySelector("audio");
  window.latest ??= 0;
  window.rounds ??= 0;
  if (audio.currentTime < window.latest) window.rounds += 1;
  window.latest = audio.currentTime;
  return window.rounds > 0 && !audio.paused;
}"""

# Times below a picture that are written over one another with letters twice as large.
ILLEGIBLE = """() => {
  document.documentElement.style.fontSize = "200%";
  const textOf = (span) => {
    const range = document.createRange();
    range.selectNodeContents(span);
    return range.getBoundingClientRect();
  };
  const seen = [...document.querySelectorAll(".sound__times span")].filter(
    (span) => getComputedStyle(span).visibility === "visible",
  );
  const over = seen.slice(1).filter((span, i) => textOf(span).left < textOf(seen[i]).right);
  document.documentElement.style.fontSize = "";
  return [seen.length < 2 && "no times", ...over.map((span) => span.textContent)].filter(Boolean);
}"""


@pytest.fixture
def route(program):
    make_checklist(program)
    return make_route(program)


def with_sounds(observer, visit):
    said = {"media_type": "audio/wav", "seconds": float(SECONDS)}
    keep(observer, visit, wave_file(SECONDS), stop=1, species="pseudacris-crucifer", **said)
    sound, media_type = encoded("FLAC", sung(CALLERS, snr_db=15, seconds=SECONDS))
    pictured = keep(observer, visit, sound, stop=2, **said | {"media_type": media_type})
    make_picture(pictured.pk)
    keep(observer, visit, wave_file(SECONDS), stop=2, kind="note", **said)
    return visit


def look(page, name):
    found = []
    for size, view, theme in LOOKS if PICTURES else (LOOKS[0], LOOKS[-1]):
        page.set_viewport_size(view)
        set_theme(page, theme)
        image = page.locator(".sound__image img")
        image.scroll_into_view_if_needed()
        image.evaluate("(image) => image.decode()")
        # Each time stands below its place in the picture, and nothing is wider than the page.
        assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
        times = page.locator(".sound__times").bounding_box()
        plot = page.locator(".sound__image").bounding_box()
        assert (times["x"], times["width"]) == (plot["x"], plot["width"])
        assert page.evaluate(ILLEGIBLE) == []
        if PICTURES:
            Path(PICTURES).mkdir(exist_ok=True, parents=True)
            page.screenshot(path=f"{PICTURES}/{name}-{size}-{theme}.png")
        found += [f"{size}, {theme}: {words}" for words in axe_findings(page)]
    return found


def test_review(signed_in, observer, coordinator, route):
    visit = with_sounds(observer, make_submitted(observer, route))
    page = signed_in(coordinator)
    parts = []
    page.on(
        "response",
        lambda one: (
            parts.append(one.status)
            if "/recordings/" in one.url and not one.url.endswith((".css", ".js", "/picture"))
            else None
        ),
    )
    page.goto(f"/{coordinator.program.slug}/review/{visit.pk}/")
    expect(page.locator("audio")).to_have_count(3)
    assert parts == [], "no sound is fetched before somebody listens"
    # RFC 9110, 14: the player asks for parts, and gets them.
    duration, place = page.locator("audio").first.evaluate(LISTEN)
    assert (round(duration), round(place)) == (SECONDS, 45)
    assert 206 in parts
    with page.expect_download() as download:
        page.get_by_role("link", name="Download (recording of stop 1)").click()
    assert Path(download.value.path()).read_bytes() == wave_file(SECONDS)
    assert look(page, "40-review") == []
    listen_closely(page)
    listen_without_the_sheet(page, f"/{coordinator.program.slug}/listening")


def listen_without_the_sheet(page, address):
    pictured = RecordingPicture.objects.get().pk
    page.goto(f"{address}/{pictured}")
    assert look(page, "41-without-the-sheet") == []
    page.set_viewport_size(PHONE)
    # A keyboard reaches each answer of a species.
    peeper = page.get_by_role("group", name="Pseudacris crucifer")
    peeper.get_by_label("Not heard").focus()
    page.keyboard.press("ArrowRight")
    page.keyboard.press("ArrowRight")
    expect(peeper.get_by_label("2", exact=True)).to_be_checked()
    page.get_by_role("button", name="Save and hear the next").click()
    expect(page.get_by_text("Your answer is saved.")).to_be_visible()
    expect(page).not_to_have_url(re.compile(str(pictured)))


def listen_closely(page):
    """A box across the picture is measured, and repeated at a quarter of the speed."""
    page.set_viewport_size(DESKTOP)
    page.get_by_role("link", name="Slow down, repeat or measure a part").click()
    plot = page.locator(".sound__image")
    plot.locator("img").evaluate("(image) => image.decode()")

    def at(second, pitch):
        plot.scroll_into_view_if_needed()
        frame = plot.bounding_box()
        return (
            frame["x"] + frame["width"] * second / SECONDS,
            frame["y"] + frame["height"] * (1 - pitch / 8000),
        )

    page.mouse.move(*at(30, 2000))
    page.mouse.down()
    page.mouse.move(*at(40, 4000), steps=3)
    page.mouse.up()
    measured = page.locator("#measured")
    expect(measured).to_contain_text(re.compile(r"Measured from (30|29\.9)"))
    expect(measured).to_contain_text("About 2,950 Hz")
    expect(page.get_by_label("From", exact=True)).to_have_value(re.compile(r"30\.\d|29\.9"))
    assert "low_hz=" in page.url, "the part can be linked to"
    page.get_by_label("Speed", exact=True).select_option("A quarter")
    page.get_by_label("Repeat the part").check()
    page.get_by_label("To", exact=True).fill("30.5")
    page.get_by_role("button", name="Play the part").click()
    page.wait_for_function(PLAYED_TWICE)
    rate, where = page.locator("audio").evaluate(
        "(audio) => [audio.playbackRate, audio.currentTime]"
    )
    assert rate == 0.25
    assert 29.5 < where < 31
    page.locator("audio").evaluate("(audio) => audio.pause()")
    page.mouse.click(*at(45, 1000))
    page.wait_for_function("() => Math.round(document.querySelector('audio').currentTime) === 45")
    page.get_by_label("Highest pitch").fill("9000")
    page.get_by_role("button", name="Measure").click()
    expect(page.locator("#measured")).to_contain_text("This is too high.")
    assert look(page, "43-closely") == []


def test_own_visit(signed_in, observer, route):
    visit = with_sounds(observer, make_submitted(observer, route))
    page = signed_in(observer)
    page.goto(f"/{observer.program.slug}/visits/{visit.pk}/")
    assert look(page, "41-visit") == []


def test_sheet(signed_in, observer, route, tmp_path):
    visit = with_sounds(observer, make_draft(observer, route))
    page = signed_in(observer)
    page.goto(f"/{observer.program.slug}/sheets/{visit.pk}/")
    page.get_by_text("Add a sound file").click()
    (tmp_path / "call.wav").write_bytes(wave_file(SECONDS))
    page.get_by_label("Sound file").set_input_files(tmp_path / "call.wav")
    page.get_by_label("Recorded at stop").select_option("3")
    page.get_by_role("button", name="Add the sound").click()
    page.get_by_text("Recording saved.").wait_for()
    expect(page.locator("audio")).to_have_count(4)
    assert look(page, "42-sheet") == []
    page.get_by_role("button", name="Remove (recording of stop 3)").click()
    page.get_by_text("Recording deleted.").wait_for()
    expect(page.locator("audio")).to_have_count(3)


def test_screens_about_sounds_are_accessible(signed_in, observer, coordinator, program, route):
    """Those with a hint that names a species, and with what two people heard."""
    peeper = Species.objects.get(code="pseudacris-crucifer")
    visit = make_accepted_visit(route, observer.person, heard={1: {peeper: 2}})
    recording = keep(observer, visit, sound(), stop=1, species=peeper.code, id=drawn(sampled=True))
    make_stored_picture(recording)
    measures = {"begin_s": 0, "end_s": 5, "bands": [stored_band()]}
    for _ in range(3):
        make_stored_reference(None, peeper, coordinator, measures=measures, credit="R. Marsh")
    for listener in (coordinator, make_member(program, Role.COORDINATOR)):
        answer_blindly(listener, recording.pk, heard={peeper.code: 2})
    home = f"/{program.slug}"
    words = {
        f"{home}/recordings/{recording.pk}/listen": "May be ",
        f"{home}/recordings/{recording.pk}/reference": "How the person who recorded it agreed",
        f"{home}/hints/": "0 of 1 (0% to",
        f"{home}/calls/{peeper.code}/": "recorded by R. Marsh",
        f"{home}/calls/{peeper.code}/add": "Air temperature when it was recorded",
        f"{home}/listening": "No recording waits for you",
        f"{home}/program/people/{observer.pk}/surveys": "Two people heard a recording",
    }
    page = signed_in(coordinator)
    assert faults_of(page, list(words)) == {}
    for address, expected in words.items():
        page.goto(address)
        expect(page.locator("main")).to_contain_text(expected)
