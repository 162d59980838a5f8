"""Under a protocol with a listening radius the phone asks of each call: near or far."""

import pytest

from surveys.models import ProtocolVersion

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def at_the_first_stop(route, take_along):
    ProtocolVersion.objects.update(listening_radius_m=100)
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
