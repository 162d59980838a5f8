"""Every screen of the survey in both themes: axe, and sizes of what is pressed."""

import pytest

from surveys.check_ins.contacts import add_member
from surveys.models import Visit
from surveys.visits.drafts import save_cells
from surveys.visits.sheet.cells import CellChange
from tests.browser.survey.conftest import send, until
from tests.support.builders import make_member

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def lights() -> tuple[str, ...]:
    return ("amber", "white")


def test_screens(phone, take_along, look, observer):
    page = take_along()
    look("1-home")
    page.get_by_role("button", name="Survey the night of 15 April 2024").click()
    page.get_by_role("button", name="Go to stop 1").wait_for()
    look("2-route")
    page.get_by_role("button", name="Go to stop 1").click()
    page.get_by_role("button", name="I am at the stop").wait_for()
    look("3-on-the-way")
    page.get_by_role("button", name="I am at the stop").click()
    page.locator(".phase__what", has_text="Quiet wait").wait_for()
    look("4-settling")
    page.get_by_role("button", name="Start listening early").click()
    page.locator('[data-species="pseudacris-crucifer"]').click()
    page.locator('[data-species="pseudacris-crucifer"]').click()
    page.get_by_role("button", name="Wood frog: heard, but not sure").click()
    look("5-listening")
    page.locator('[data-cell="stops.1.beaufort"]').click()
    look("6-wind")
    page.get_by_role("button", name="5 fresh breeze").click()
    page.locator('[data-cell="stops.1.air_temperature"]').click()
    look("7-temperature")
    page.get_by_role("button", name="Done").click()
    page.get_by_role("button", name="Another species").click()
    page.get_by_label("Name, common or scientific").fill("bull")
    look("8-search")
    page.get_by_role("button", name="Done").click()
    page.get_by_role("button", name="Loud event").click()
    page.locator(".phase__what", has_text="Loud event").wait_for()
    look("9-paused")
    phone.pass_time(seconds=90)
    page.get_by_role("button", name="Keep listening").click()
    phone.pass_time(minutes=4)
    page.locator(".phase__what", has_text="Stop done").wait_for()
    said = page.locator(".finding p:not([class])").all_inner_texts()
    assert any("The quiet wait at stop 1 was" in words for words in said)
    assert any("Wind force 5 at stop 1 is above 3" in words for words in said)
    look("10-done")
    page.get_by_role("button", name="Everything sent").or_(
        page.get_by_role("button", name="entries on this phone only")
    ).first.click()
    page.get_by_role("heading", name="Summary").wait_for()
    look("11-summary")
    send(page)
    page.get_by_text("All on the server since").wait_for()


def test_rain_is_asked_once_before_the_first_stop(phone, take_along, look, observer):
    """In inches where temperatures are in °F; "do not know" is an answer, and so is a trace."""
    observer.program.temperature_unit = "F"
    observer.program.save()
    page = take_along()
    page.get_by_role("button", name="Survey the night of 15 April 2024").click()
    page.get_by_text("Rain in the past 48 hours: no answer yet").wait_for()
    page.get_by_label("Amount in inches").fill("0.5")
    page.get_by_text("Rain in the past 48 hours: 0.5 in").wait_for()
    for choice, words in (("Do not know", "not known"), ("A trace", "a trace")):
        question = page.locator("summary", has_text="Rain in the past 48 hours")
        if not page.get_by_label("Amount in inches").is_visible():
            question.click()
        page.get_by_role("button", name=choice).click()
        page.locator("summary", has_text=words).wait_for()
        assert not page.get_by_label("Amount in inches").is_visible()
    look("2b-rain")
    phone.pass_time(seconds=8)  # No sentence stands over the buttons any more.
    page.get_by_role("button", name="Finish route: weather, notes and submit").click()
    send(page)
    page.get_by_text("All on the server since").wait_for()
    visit = Visit.objects.get()
    assert (visit.cells["rain_48h"], visit.cells["rain_unit"]) == ("T", "in")


def test_a_refreshed_route_reaches_the_visit_under_way(take_along, observer):
    page = take_along()
    page.get_by_role("button", name="Survey the night of 15 April 2024").click()
    page.get_by_text("Set a return time").click()
    page.get_by_text("You have no contact yet.").wait_for()
    mate = make_member(observer.program)
    add_member(observer, mate.person_id, site_url="https://frogs.example.org/")
    page.get_by_role("button", name="Back").click()
    page.get_by_role("button", name="Refresh").click()
    page.get_by_text("The route is up to date on this phone").first.wait_for()
    page.get_by_role("button", name="Survey the night of 15 April 2024").click()
    page.get_by_text("Set a return time").click()
    contact = page.get_by_label("Contact", exact=True)
    assert contact.inner_text() == mate.person.name


def test_both_sides_changed_a_cell(phone, take_along, observer):
    """Both texts are kept, the observer picks, and the pick reaches the server."""
    page = take_along()
    page.get_by_role("button", name="Survey the night of 15 April 2024").click()
    page.get_by_role("button", name="Finish route: weather, notes and submit").click()
    notes = page.get_by_label("Notes on the evening")
    notes.fill("mist")
    send(page)
    # The words below may stand there from what was sent before.
    until(page, Visit.objects.filter(cells__notes="mist").exists)
    page.get_by_text("All on the server since").wait_for()
    phone.context.set_offline(True)
    notes.fill("mist over the water")
    visit = Visit.objects.get()
    saved = save_cells(observer, visit.pk, {"notes": CellChange(was="mist", now="fog")})
    assert saved.conflicts == ()
    phone.context.set_offline(False)
    send(page)
    page.get_by_role("button", name="Use the other: fog").wait_for()
    visit.refresh_from_db()
    assert visit.cells["notes"] == "fog"
    page.get_by_role("button", name="Keep mine: mist over the water").click()
    page.get_by_text("All on the server since").wait_for()
    visit.refresh_from_db()
    assert visit.cells["notes"] == "mist over the water"
    assert Visit.objects.count() == 1
