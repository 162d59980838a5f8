"""Practice with calls on the phone: without signal, by keyboard, quiet at a stop, sent once."""

import pytest
from playwright.sync_api import expect

from surveys.demo.catalog import load_species
from surveys.learning import practice
from surveys.models import PracticeAnswer, Species
from surveys.sound.calls import call_of
from surveys.web.calls.shown import call_words
from tests.browser.survey.conftest import until

pytestmark = pytest.mark.django_db(transaction=True)
KEPT = """async () => {
  const { getAll } = await import("/static/survey/store.js");
  const rows = (await getAll("settings")).filter(({ name }) => name.startsWith("practice/"));
  return rows.flatMap(({ value }) => value.answers);
}"""


@pytest.fixture
def taken(take_along, route):
    load_species()
    return take_along()


def answer_by_keyboard(page):
    """The question as it was kept, and what was named."""
    section = page.get_by_role("region", name="Question")
    section.get_by_role("button", name="Another question").wait_for()
    section.locator("input").first.focus()
    page.keyboard.press("Space")
    section.get_by_role("button", name="Answer", exact=True).focus()
    page.keyboard.press("Enter")
    section.get_by_role("button", name="Next question").wait_for()
    return page.evaluate(KEPT)[-1]


def test_practice_without_signal_and_its_answers_sent_once(phone, taken, observer, look):
    page = taken
    phone.context.set_offline(True)
    page.get_by_role("link", name="Practice calls").click()
    section = page.get_by_role("region", name="Question")
    play = section.get_by_role("button", name="Play", exact=True)
    expect(section).to_contain_text("made by computer Air temperature")
    play.click()
    stop = section.get_by_role("button", name="Stop", exact=True)
    expect(stop).to_be_visible()
    stop.click()
    expect(play).to_be_visible()
    section.get_by_role("button", name="Answer", exact=True).click()
    expect(section.get_by_role("alert")).to_have_text("Choose an answer first.")
    look("practice-question")
    first = answer_by_keyboard(page)
    assert_told(section, first)
    expect(section.get_by_role("heading", level=2)).to_be_focused()
    expect(page.get_by_text("1 answer waits for signal. It is safe on this phone.")).to_be_visible()
    look("practice-answer")
    section.get_by_role("button", name="Next question").click()
    second = answer_by_keyboard(page)
    expect(page.get_by_text("2 answers wait for signal.")).to_be_visible()
    assert not PracticeAnswer.objects.exists()
    phone.context.set_offline(False)
    expect(page.get_by_text("for signal.")).to_have_count(0)
    until(page, lambda: PracticeAnswer.objects.count() == 2)
    assert page.evaluate(KEPT) == []
    for given in (first, second):
        stored = practice.find_answer(observer, given["id"])
        assert {row.species.code for row in stored.heard.all() if row.was_named} == set(
            given["named"]
        )
        assert stored.question == given["question"]
    known = practice.tallies_of(observer)
    assert set(known) >= {voice["species"] for voice in first["question"]["voices"]}


def assert_told(section, given):
    """What called, with its index, and how it sounds, as the site says it."""
    question = given["question"]
    words = section.inner_text()
    for voice in question["voices"]:
        species = Species.objects.get(code=voice["species"])
        assert f"{species.name} (call index {voice['index']})" in words
        assert f"Listen for: {species.call}" in words
        assert call_words(call_of(voice["made_as"]), question["celsius"]) in words
    assert "Nearest male: " in words
    noise = {"wind": "wind", "rain": "rain", "road": "a passing car"}.get(question["behind"])
    assert ("Other noise" in words) == bool(noise)
    assert not noise or f"Other noise: {noise}." in words


def test_there_is_no_question_during_the_quiet_wait(taken):
    page = taken
    page.get_by_role("button", name="Survey the night of 15 April 2024").click()
    page.get_by_role("button", name="Go to stop 1").click()
    page.get_by_role("button", name="I am at the stop").click()
    page.get_by_role("button", name="Start listening early").wait_for()
    page.evaluate("() => { window.location.hash = '#/practice'; }")
    expect(page.get_by_text("You are waiting or listening at a stop.")).to_be_visible()
    play = page.get_by_role("button", name="Play", exact=True)
    expect(play).to_be_hidden()
    # A page that is loaded again knows of the wait, too.
    page.reload()
    expect(page.get_by_text("You are waiting or listening at a stop.")).to_be_visible()
    expect(play).to_be_hidden()
