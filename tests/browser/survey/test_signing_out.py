"""Signing out, by oneself or for want of use, and an account that has ended: no place stays on the
phone, and no entry is lost."""

import time

import pytest
from django.contrib.sessions.backends.db import SessionStore
from django.contrib.sessions.models import Session

from surveys.models import Visit
from tests.browser.conftest import fill_sign_in
from tests.browser.survey.conftest import SENT, send, survey_url

pytestmark = pytest.mark.django_db(transaction=True)

STORED = """async () => {
  const { getAll } = await import("/static/survey/store.js");
  const [packets, visits, cells] = await Promise.all(["packets", "visits", "cells"].map(getAll));
  const files = await Promise.all((await caches.keys()).map(async (name) =>
    (await (await caches.open(name)).keys()).length));
  return {
    packets: packets.length,
    visits: visits.map(({ night }) => night).sort(),
    texts: cells.filter(({ text }) => text).map(({ text }) => text).sort(),
    files: files.reduce((sum, one) => sum + one, 0),
  };
}"""
# A visit of another night that has reached the server, as far as the phone knows.
ADD_SENT = """async () => {
  const store = await import("/static/survey/store.js");
  const [visit] = await store.getAll("visits");
  const sent = { ...visit, id: crypto.randomUUID(), night: "2024-04-01", revision: 3,
    state: "submitted", wants_submit: false, trouble: null };
  await store.put("visits", sent);
  const cell = { visit: sent.id, address: "notes", text: "sent", base: "sent", sent: [] };
  await store.put("cells", cell);
}"""

# A route of a visit that is over, as if taken along another time.
ADD_PACKET = """async () => {
  const store = await import("/static/survey/store.js");
  const [packet] = await store.getAll("packets");
  await store.put("packets", { ...packet, key: "another/route" });
}"""
PACKETS = """async () => {
  const { getAll } = await import("/static/survey/store.js");
  return (await getAll("packets")).map(({ key }) => key);
}"""
PACKETS_IN_USE = """async () => {
  const { getAll } = await import("/static/survey/store.js");
  return (await getAll("visits")).filter(({ night }) => night === "2024-04-15")
    .map(({ packet }) => packet);
}"""


def stored_once(page, is_so):
    """What the phone keeps, as soon as it is so, or after some seconds."""
    for _ in range(100):
        stored = page.evaluate(STORED)
        if is_so(stored):
            break
        page.wait_for_timeout(100)
    return stored


@pytest.fixture
def notes(take_along, phone):
    """A visit with a note that stays on the phone: what goes to the server gets lost on its way."""
    page = take_along(by_the_page=True)
    phone.context.route("**/api/v1/**", lambda route: route.abort())
    page.get_by_role("button", name="Survey the night of 15 April 2024").click()
    page.get_by_role("button", name="Finish route: weather, notes and submit").click()
    field = page.get_by_label("Notes on the evening")
    field.fill("mist over the water")
    field.blur()
    assert stored_once(page, lambda stored: "mist over the water" in stored["texts"])
    return field


@pytest.mark.parametrize("way", ["menu", "page"])
def test_signing_out_leaves_what_was_not_sent_and_nothing_else(phone, notes, observer, way):
    page = phone.page
    page.evaluate(ADD_SENT)
    before = page.evaluate(STORED)
    assert before["packets"] == 1
    assert before["visits"] == ["2024-04-01", "2024-04-15"]
    if way == "page":
        page.goto("/accounts/logout/")
    else:
        page.goto(f"/{observer.program.slug}/tonight/")
        page.locator("details.menu", has_text="Sign out").locator("summary").click()
    page.get_by_role("button", name="Sign out").last.click()
    page.wait_for_url("**/accounts/login/**")
    after = page.evaluate(STORED)
    assert (after["packets"], after["visits"]) == (0, ["2024-04-15"])
    assert "mist over the water" in after["texts"]
    assert "sent" not in after["texts"]
    # The screen itself opens without signal, as before.
    assert after["files"] == before["files"] > 0
    if way == "menu":
        return
    # The same person signs in, the route comes back, and the entry goes to the server.
    phone.context.unroute_all()
    page.goto(survey_url(observer) + "#/home")
    # Drawn, it is where the survey begins the next time.
    page.get_by_role("button", name="15 April 2024").first.wait_for()
    page.goto(f"/accounts/login/?next={survey_url(observer)}")
    fill_sign_in(page, observer.person.email)
    page.get_by_role("button", name="15 April 2024").first.click()
    page.get_by_role("button", name="Finish route: weather, notes and submit").click()
    assert page.get_by_label("Notes on the evening").input_value() == "mist over the water"
    send(page)
    page.get_by_text(SENT).first.wait_for()
    assert Visit.objects.get(observer=observer.person).cells["notes"] == "mist over the water"


def test_signing_out_before_the_script_has_loaded(phone, notes, observer):
    """The next page does what this one could not."""
    page = phone.page
    page.evaluate(ADD_SENT)
    page.route("**/sign-out*.js", lambda route: route.abort())
    page.goto("/accounts/logout/")
    page.get_by_role("button", name="Sign out").last.click()
    page.wait_for_url("**/accounts/login/**")
    assert page.evaluate(STORED)["packets"] == 1
    page.unroute_all()
    page.reload()
    left = stored_once(page, lambda stored: not stored["packets"])
    assert (left["packets"], left["visits"]) == (0, ["2024-04-15"])
    assert "mist over the water" in left["texts"]
    page.wait_for_function("!document.cookie.includes('signed-out')")


def idle():
    """Half an hour ago somebody used this phone who did not ask to stay signed in."""
    for session in Session.objects.all():
        store = SessionStore(session.session_key)
        store.set_expiry(0)
        store["seen_at"] = time.time() - 1900
        store.save()


def test_a_session_that_was_idle_leaves_the_visit_of_tonight_and_no_other_route(
    phone, notes, observer
):
    page = phone.page
    page.evaluate(ADD_PACKET)
    page.evaluate(ADD_SENT)
    idle()
    asked = []
    page.on("request", lambda one: asked.append(one.url) if "hello.json" in one.url else None)
    page.reload()
    left = stored_once(page, lambda stored: stored["packets"] == 1)
    assert left["packets"] == 1
    assert page.evaluate(PACKETS) == page.evaluate(PACKETS_IN_USE)
    assert "mist over the water" in left["texts"]
    page.get_by_text("You are signed out").first.wait_for()
    assert len(asked) == 1
    phone.context.unroute_all()
    # The page to sign in takes what was sent.
    page.goto(f"/accounts/login/?next={survey_url(observer)}")
    left = stored_once(page, lambda stored: stored["visits"] == ["2024-04-15"])
    assert (left["packets"], left["visits"]) == (1, ["2024-04-15"])


@pytest.mark.parametrize("what", ["membership", "account"])
def test_places_leave_the_phone_of_whose_account_has_ended(phone, notes, observer, what):
    if what == "membership":
        observer.active = False
        observer.save()
    else:
        observer.person.is_active = False
        observer.person.save()
    page = phone.page
    page.goto(survey_url(observer) + "#/home")
    page.reload()
    left = stored_once(page, lambda stored: not stored["packets"])
    assert left["packets"] == 0
    assert left["visits"] == ["2024-04-15"]
    assert "mist over the water" in left["texts"]


def test_places_leave_a_phone_that_has_nothing_to_send(take_along, observer):
    page = take_along()
    observer.active = False
    observer.save()
    page.reload()
    assert stored_once(page, lambda stored: not stored["packets"])["packets"] == 0
