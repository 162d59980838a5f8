"""A learner practices by keyboard: the sound plays, and the answer says what there was to hear."""

import pytest
from playwright.sync_api import expect

from tests.support.builders import make_checklist

pytestmark = pytest.mark.django_db(transaction=True)
LENGTH_S = """async (audio) => {
  await new Promise((ready, failed) => {
    audio.onloadedmetadata = ready;
    audio.onerror = () => failed(new Error(audio.error.message));
    audio.load();
    audio.preload = "auto";
  });
  return audio.duration;
}"""

# From then on `window.heard` has the length of each sound that is played.
WATCH = """() => {
  window.heard = [];
  const begin = AudioBufferSourceNode.prototype.start;
  AudioBufferSourceNode.prototype.start = function (...when) {
    window.heard.push(this.buffer.duration);
    return begin.apply(this, when);
  };
}"""


@pytest.mark.parametrize("scripted", [True, False])
def test_a_question_is_answered_by_keyboard(program, observer, signed_in, scripted):
    make_checklist(program, "Pseudacris crucifer", "Lithobates sylvaticus", "Anaxyrus americanus")
    page = signed_in(observer, java_script_enabled=scripted)
    page.goto(f"/{program.slug}/practice")
    if scripted:
        assert page.locator("audio").evaluate(LENGTH_S) == pytest.approx(10, abs=0.1)
    page.locator("[name=answer]").first.focus()
    page.keyboard.press("Space")
    page.get_by_role("button", name="Answer", exact=True).focus()
    page.keyboard.press("Enter")
    expect(page.get_by_role("link", name="Next question")).to_be_visible()
    expect(page.get_by_role("link", name="beside what sounds like it").first).to_be_visible()
    expect(page.locator("audio")).to_have_count(1)


def test_a_chorus_of_several_species_is_heard_and_told(program, observer, signed_in):
    names = ("Pseudacris crucifer", "Lithobates sylvaticus", "Anaxyrus americanus")
    peeper, _, toad = (one.name for one in make_checklist(program, *names))
    page = signed_in(observer)
    page.goto(f"/{program.slug}/calls/")
    page.get_by_text("Several species at once").click()
    box = page.locator("[data-chorus]")
    box.get_by_role("button", name="Play them together").click()
    expect(box).to_contain_text("Choose a species first.")
    first, second, _ = box.get_by_role("group").all()
    first.get_by_label("Species").select_option(label=peeper)
    first.get_by_label("Who calls").select_option(label="Full chorus (call index 3)")
    second.get_by_label("Species").select_option(label=toad)
    second.get_by_label("Who calls").select_option(label="A few that overlap (call index 2)")
    page.evaluate(WATCH)
    box.get_by_role("button", name="Play them together").click()
    expect(box).to_contain_text(f"You hear {peeper} (call index 3) and {toad} (call index 2).")
    page.wait_for_function("() => window.heard.length === 1")
    assert page.evaluate("() => window.heard") == [pytest.approx(10)]
    box.get_by_role("button", name="Stop").click()
    expect(box.get_by_role("button", name="Play them together")).to_be_visible()
