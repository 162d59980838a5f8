"""Under a protocol with a listening radius the phone asks of each call: near or far."""

import pytest

from surveys.models import ChecklistEntry, ProtocolVersion, Species
from tests.browser.conftest import PHONE
from tests.browser.survey.conftest import COVERED, PICTURES
from tests.browser.survey.test_by_the_thumb import IN_VIEW, ROOM

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def at_the_first_stop(route, take_along):
    ProtocolVersion.objects.update(listening_radius_m=100)
    ChecklistEntry.objects.update(
        calls_from_month=None, calls_from_day=None, calls_to_month=None, calls_to_day=None
    )
    Species.objects.update(call="long trill")  # So that each has a button for how it sounds.
    page = take_along()
    page.get_by_role("button", name="Survey the night of 15 April 2024").click()
    page.get_by_role("button", name="Go to stop 1").click()
    page.get_by_role("button", name="I am at the stop").click()
    return page


def test_each_call_is_near_or_far(at_the_first_stop, look):
    page = at_the_first_stop
    peeper = page.locator('[data-species="pseudacris-crucifer"]')
    where = page.get_by_role("group", name="Spring peeper")
    page.get_by_text("Near: at least one called within 100 m.").wait_for()
    assert not where.is_visible()
    peeper.click()
    far = where.get_by_role("button", name="far")
    far.click()
    assert far.get_attribute("aria-pressed") == "true"
    # The next tap raises the index and keeps the mark.
    peeper.click()
    peeper.and_(page.get_by_label(", far", exact=False)).wait_for()
    assert "2" in peeper.inner_text()
    look("listening-radius")
    where.get_by_role("button", name="near").click()
    peeper.and_(page.get_by_label(", near", exact=False)).wait_for()
    assert far.get_attribute("aria-pressed") == "false"
    look_from_every_side(page)


def look_from_every_side(page):
    """While listening, with two calls that have near and far beside them."""
    page.get_by_role("button", name="Start listening early").click()
    page.locator(".phase__what", has_text="Listening").wait_for()
    page.locator('[data-species="pseudacris-maculata"]').click()
    page.get_by_role("group", name="Boreal chorus frog").wait_for()
    found = {}
    for width, height, least in ROOM:
        page.set_viewport_size({"width": width, "height": height})
        page.evaluate("scrollTo(0, 0)")
        if PICTURES:
            page.screenshot(path=f"{PICTURES}/radius-{width}x{height}.png")
        seen, covered = page.evaluate(IN_VIEW), page.evaluate(COVERED)
        if seen < least or covered:
            found[width, height] = seen, covered
    page.set_viewport_size(PHONE)
    assert found == {}
