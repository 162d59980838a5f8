"""What could hurt, on the phone: the emergency card without signal, and thunder."""

import re

import pytest

from surveys.models import Program, Stop

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def tonight(route, take_along):
    Stop.objects.filter(route=route).update(road="Ferry Road at Mill Lane", county="Alder County")
    Program.objects.update(emergency_contact="Duty phone, 555-0134")
    page = take_along()
    page.get_by_role("button", name="Survey the night of 15 April 2024").click()
    page.get_by_role("button", name="Go to stop 1").wait_for()
    return page


def stand_at(phone, north_of_stop_m: float, stop: int = 1) -> str:
    """Go there; the coordinates as the card shows them."""
    place = Stop.objects.get(number=stop).place
    here = {"latitude": place.y + north_of_stop_m / 111_000, "longitude": place.x}
    phone.context.set_geolocation({**here, "accuracy": 8})
    return "Latitude {latitude:.5f} Longitude {longitude:.5f}".format(**here)


def test_the_emergency_card_says_where_you_are_without_signal(tonight, phone, look):
    page = tonight
    here = stand_at(phone, 50)
    page.get_by_role("button", name="Go to stop 1").click()
    page.get_by_role("button", name="I am at the stop").wait_for()
    phone.context.set_offline(True)
    page.get_by_text("Emergency", exact=True).click()
    card = page.locator(".sos")
    card.get_by_text("Stop 1: Stop 1, ").filter(has_text="50 m from this phone").wait_for()
    for words in ("Ferry Road at Mill Lane", "Alder County", "Duty phone, 555-0134"):
        assert words in card.inner_text()
    numbers = card.locator(".big-number")
    assert " ".join(numbers.inner_text().split()) == here
    call = card.get_by_role("link", name="Call 911")
    assert call.get_attribute("href") == "tel:911"
    # Read at arm's length, by a shaking hand.
    for large in (numbers, card.get_by_text("Ferry Road at Mill Lane")):
        assert large.evaluate("node => parseFloat(getComputedStyle(node).fontSize)") >= 24
    card.scroll_into_view_if_needed()
    look("emergency")


def test_far_from_the_stop_the_card_does_not_name_its_road(tonight, phone):
    page = tonight
    stand_at(phone, 900)
    page.get_by_role("button", name="Go to stop 1").click()
    page.get_by_text("Emergency", exact=True).click()
    card = page.locator(".sos")
    card.get_by_text("Stop 1: Stop 1, ").filter(
        has_text=re.compile(r"90\d m from this phone")
    ).wait_for()
    assert "Ferry Road" not in card.inner_text()
    assert "Stop 1 is in Alder County." in card.inner_text()


def test_on_the_route_the_card_is_that_of_the_nearest_stop(tonight, phone):
    """Without a position, that of the stop which comes next, with its coordinates."""
    page = tonight
    page.get_by_text("Emergency", exact=True).click()
    stand_at(phone, 20, stop=7)
    card = page.locator(".sos[open]")
    card.get_by_text("Stop 7: Stop 7").wait_for()
    page.evaluate(
        """async () => {
          const { place, rest } = await import("/static/survey/place.js");
          rest();
          place.fix = null;
        }"""
    )
    card.get_by_text("Stop 1: Stop 1").wait_for()
    place = Stop.objects.get(number=1).place
    at = f"Latitude {place.y:.5f}\nLongitude {place.x:.5f}"
    assert card.locator(".big-number").inner_text() == at


def test_thunder_at_the_start_is_said_at_once(tonight, look):
    page = tonight
    page.locator('[data-cell="start.sky"]').click()
    page.get_by_role("button", name="thunder").click()
    page.locator("#main").get_by_text("There was thunder at the start of the visit.").wait_for()
    page.get_by_text("get into a hard-topped car or a building").wait_for()
    look("thunder")
