"""The map of a route on the phone, without signal."""

import pytest

from tests.support.maps import write_roads

pytestmark = pytest.mark.django_db(transaction=True)


def test_the_map_that_was_taken_along_is_drawn_without_signal(
    take_along, phone, look, route, settings, tmp_path
):
    """With the road of the site's own file."""
    settings.MAP_FILE = write_roads(tmp_path / "own.pmtiles", route)
    phone.context.grant_permissions(["geolocation"])
    phone.context.set_geolocation({"latitude": 43.0731, "longitude": -89.4, "accuracy": 8})
    page = take_along()
    phone.context.set_offline(True)
    page.get_by_role("button", name="Survey the night of 15 April 2024").click()
    page.get_by_text("Map of the stops", exact=True).click()
    picture = page.get_by_role("img", name="Map of the stops.")
    assert picture.locator(".land__stop").all_text_contents() == [str(n) for n in range(1, 11)]
    assert picture.locator(".land__name").all_text_contents() == ["Dane"]
    road = [one.bounding_box() for one in picture.locator(".land__line--roads").all()]
    page.get_by_text("U.S. Census Bureau, Roads of a test").wait_for()
    # Stops go east, a kilometer each, and this phone is at the first.
    lefts = [one.bounding_box()["x"] for one in picture.locator(".land__stop circle").all()]
    assert lefts == sorted(lefts)
    assert min(part["x"] for part in road) < lefts[0]
    assert max(part["x"] + part["width"] for part in road) > lefts[-1]
    picture.locator(".land__here[visibility=visible]").wait_for()
    picture.scroll_into_view_if_needed()
    look("map")
