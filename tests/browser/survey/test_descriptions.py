"""How a species sounds, at the stop and without a network."""

import pytest
from playwright.sync_api import expect

from surveys.demo.catalog import load_species
from surveys.models import Species
from surveys.sound.encoding import encoded
from tests.support.callers import Caller, sung
from tests.support.sounds import make_stored_reference

pytestmark = pytest.mark.django_db(transaction=True)
# Addresses of the reference calls on the phone.
KEPT = """async () => {
  const names = (await caches.keys()).filter((name) => name.startsWith("duskpool-calls:"));
  const kept = await Promise.all(names.map(async (name) => (await caches.open(name)).keys()));
  return kept.flat().map(({ url }) => new URL(url).pathname);
}"""
HOLD = """(name) => new Promise((held) => {
  navigator.locks.request(name, () => new Promise((free) => { window.letGo = free; held(); }));
})"""


@pytest.fixture
def take_along_catalog(take_along, route):
    """As `take_along`, with all that the catalog knows."""
    load_species()
    return take_along


@pytest.fixture
def at_stop(phone, take_along_catalog):
    page = take_along_catalog()
    page.get_by_role("button", name="Survey the night of 15 April 2024").click()
    page.get_by_role("button", name="Go to stop 1").click()
    phone.context.set_offline(True)
    return page


def described(page, name):
    page.get_by_role("button", name=f"How it sounds: {name}").click()
    box = page.get_by_role("dialog", name=name)
    box.wait_for()
    return box


def test_call_note_and_look_alikes_are_read_offline(at_stop, look):
    box = described(at_stop, "Spring peeper")
    words = box.inner_text()
    assert "Call: single clear whistle, about one a second" in words
    assert "Note: one of the first callers" in words
    assert "Ornate chorus frog and spring peeper" in words
    assert "The peeper whistles once a second and slides upward." in words
    # Off the checklist, and no frog.
    assert "Others: Ornate chorus frog." in words
    assert "Others: northern saw-whet owl (even toots)" in words
    assert "Others: Spring peeper" not in words
    look("description")
    hear_offline(box)
    box.get_by_role("button", name="Done").click()
    look("species-with-descriptions")
    assert "Call: long level trill" in described(at_stop, "American toad").inner_text()


def hear_offline(box):
    """Made on the phone; a second one takes the place of the first."""
    one = box.get_by_role("button", name="Play one: Spring peeper")
    chorus = box.get_by_role("button", name="Play a chorus: Spring peeper")
    assert "Made by computer." in box.inner_text()
    one.click()
    expect(one).to_have_text("Stop")
    chorus.click()
    expect(chorus).to_have_text("Stop")
    expect(one).to_have_text("Play one")
    chorus.click()
    expect(chorus).to_have_text("Play a chorus")


def test_no_call_is_played_while_somebody_listens(at_stop):
    box = described(at_stop, "Spring peeper")
    play = box.get_by_role("button", name="Play one: Spring peeper")
    play.click()
    expect(play).to_have_text("Stop")
    # As another tab would: the call that plays is cut off.
    at_stop.evaluate(HOLD, "duskpool-recording:1")
    expect(play).to_have_text("Play one")
    expect(box).to_contain_text("A recording is being made.")
    play.click()
    expect(box).to_contain_text("A recording is being made.")
    at_stop.evaluate("() => window.letGo()")


def test_no_call_is_played_during_the_quiet_wait(at_stop):
    at_stop.get_by_role("button", name="I am at the stop").click()
    at_stop.get_by_role("button", name="Start listening early").wait_for()
    box = described(at_stop, "Spring peeper")
    play = box.get_by_role("button", name="Play one: Spring peeper")
    # The wait may have begun a moment ago: a call that plays already is cut off.
    play.click()
    expect(box).to_contain_text("You are waiting or listening at a stop.")
    expect(play).to_have_text("Play one")


def test_a_reference_call_is_taken_along_and_goes_with_the_places(
    phone, take_along_catalog, coordinator, observer
):
    peeper = Species.objects.get(code="pseudacris-crucifer")
    sound = encoded(sung([Caller(pitch_hz=2900, note_s=0.2)], snr_db=20, seconds=3.0))
    reference = make_stored_reference(None, peeper, coordinator, credit="Wren Tallow", sound=sound)
    page = take_along_catalog(by_the_page=True)
    assert page.evaluate(KEPT) == [f"/{observer.program.slug}/reference-calls/{reference.pk}"]
    page.get_by_role("button", name="Survey the night of 15 April 2024").click()
    page.get_by_role("button", name="Go to stop 1").click()
    phone.context.set_offline(True)
    box = described(page, "Spring peeper")
    play = box.get_by_role("button", name="Play the recording: Spring peeper")
    expect(box).to_contain_text("Recorded by Wren Tallow (CC-BY-4.0).")
    play.click()
    expect(play).to_have_text("Stop")
    expect(play).to_have_text("Play the recording")
    phone.context.set_offline(False)
    page.evaluate("async () => (await import('/static/survey/store.js')).forgetPlaces()")
    assert page.evaluate(KEPT) == []


def test_reading_writes_nothing_down(at_stop):
    described(at_stop, "Wood frog").get_by_role("button", name="Done").click()
    row = at_stop.locator('[data-species="lithobates-sylvaticus"]')
    assert row.get_attribute("aria-label") == "Wood frog: not heard"
