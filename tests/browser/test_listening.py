"""A coordinator listens to a recording on Review, an observer on the own visit and sheet."""

import os
from pathlib import Path

import pytest

from tests.browser.conftest import (
    DESKTOP,
    PHONE,
    axe_findings,
    set_theme,
)
from tests.support.builders import (
    make_checklist,
    make_route,
)
from tests.support.sheets import (
    make_draft,
    make_submitted,
)
from tests.support.sounds import (
    keep,
    wave_file,
)

pytestmark = pytest.mark.django_db(transaction=True)
SECONDS = 60
SIZES = (("desktop", DESKTOP), ("phone", PHONE))
LOOKS = [(size, view, theme) for size, view in SIZES for theme in ("day", "night")]
PICTURES = os.environ.get("SURVEY_PICTURES")
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


@pytest.fixture
def route(program):
    make_checklist(program)
    return make_route(program)


def with_sounds(observer, visit):
    said = {"media_type": "audio/wav", "seconds": float(SECONDS)}
    keep(observer, visit, wave_file(SECONDS), stop=1, species="pseudacris-crucifer", **said)
    keep(observer, visit, wave_file(SECONDS), stop=2, **said)
    keep(observer, visit, wave_file(SECONDS), stop=2, kind="note", **said)
    return visit


def look(page, name):
    found = []
    for size, view, theme in LOOKS if PICTURES else (LOOKS[0], LOOKS[-1]):
        page.set_viewport_size(view)
        set_theme(page, theme)
        page.locator(".recording").first.scroll_into_view_if_needed()
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
            if "/recordings/" in one.url and "/static/" not in one.url
            else None
        ),
    )
    page.goto(f"/{coordinator.program.slug}/review/{visit.pk}/")
    assert page.locator("audio").count() == 3
    assert parts == [], "nothing is fetched before somebody listens"
    # RFC 9110, 14: the player asks for parts, and gets them.
    duration, place = page.locator("audio").first.evaluate(LISTEN)
    assert (round(duration), round(place)) == (SECONDS, 45)
    assert 206 in parts
    with page.expect_download() as download:
        page.get_by_role("link", name="Download (recording of stop 1)").click()
    assert Path(download.value.path()).read_bytes() == wave_file(SECONDS)
    assert look(page, "40-review") == []


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
    assert page.locator("audio").count() == 4
    assert look(page, "42-sheet") == []
    page.get_by_role("button", name="Remove (recording of stop 3)").click()
    page.get_by_text("Recording deleted.").wait_for()
    assert page.locator("audio").count() == 3
