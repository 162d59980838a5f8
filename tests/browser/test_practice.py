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
