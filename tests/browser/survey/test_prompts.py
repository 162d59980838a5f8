"""What the phone says before its browser asks for place or microphone, and after a refusal."""

import pytest

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def phone_options() -> dict:
    return {"permissions": [], "new": True, "refuses": True}


def test_what_is_asked_for_is_said_first_and_a_refusal_stops_nobody(phone, take_along):
    # Nothing is answered yet. A browser without a window then refuses what it is asked for.
    phone.context.clear_permissions()
    page = take_along()
    page.get_by_role("button", name="Survey the night of 15 April 2024").click()
    page.get_by_role("button", name="Go to stop 1").click()
    page.get_by_text("shows the way and saves where you listened. Your browser will ask").wait_for()
    page.get_by_text("your browser will ask for the microphone. Tap Allow.").wait_for()
    page.get_by_role("button", name="Use my location").click()
    page.get_by_text("Location is off. You can survey without it.").wait_for()
    page.get_by_role("button", name="Record this call").click()
    told = page.locator(".trouble").get_by_text("does not let the survey use the microphone.")
    told.filter(has_text="open Permissions, allow the microphone, and try again").wait_for()
    page.get_by_role("button", name="I am at the stop").click()
    page.get_by_role("button", name="Start listening early").wait_for()
    # Allowed after all: the next stop asks anew.
    phone.context.grant_permissions(["geolocation"])
    page.get_by_role("button", name="Next stop", exact=True).click()
    page.locator(".way").get_by_text("give or take").wait_for()
