"""Clock times on the phone are read as on the server, also when the clocks change."""

import datetime as dt

import pytest
from playwright.sync_api import Page

from surveys.models import Visit
from surveys.protocol.nights import (
    Ambiguous,
    ClockError,
    Missing,
    parse_clock,
    to_instant,
)
from tests.browser.survey.conftest import send

pytestmark = pytest.mark.django_db(transaction=True)

# Nights of the IANA time zone database: an ordinary one, and both changes in the north, in the
# south, and where they are half an hour (from memory: Lord Howe).
NIGHTS = [
    ("America/Chicago", "2024-04-15"),
    ("America/Chicago", "2024-03-09"),
    ("America/Chicago", "2024-11-02"),
    ("Europe/Berlin", "2024-03-30"),
    ("Europe/Berlin", "2024-10-26"),
    ("Australia/Sydney", "2024-04-06"),
    ("Australia/Sydney", "2024-10-05"),
    ("Australia/Lord_Howe", "2024-04-06"),
    ("Asia/Kolkata", "2024-06-15"),
]
TYPED = [
    "21:14", "21.14", "2114", "9:14 pm", "9 pm", "12:05 am", "12 pm", "24:00", "0:00", "00:30",
    "21:14:30", "9h05", "1:30", "01:59", "2:00", "02:30", "3:00", "914", "25:00", "21:60", "soon",
    "9", "13 pm", "", "21:14 pm", "9:14\u00a0pm", "Midnight", "noon", "12 am", "12:00 pm",
]  # fmt: skip
READ = """async ([typed, nights]) => {
  const { instantsOf } = await import("/static/survey/clocktimes.js");
  return nights.map(([zone, night]) => typed.map((text) => instantsOf(text, night, zone)));
}"""


def on_the_server(text: str, night: str, zone: str) -> list[int]:
    try:
        shown = parse_clock(text)
    except ClockError:
        return []
    found = to_instant(shown, dt.date.fromisoformat(night), zone)
    if isinstance(found, Missing):
        return []
    both = [found.first, found.second] if isinstance(found, Ambiguous) else [found]
    return [round(instant.timestamp() * 1000) for instant in both]


def test_read_alike(signed_in, observer, route):
    page = signed_in(observer)
    page.goto(f"/{observer.program.slug}/survey/")
    halves = [f"{hour}:{minute:02}" for hour in range(24) for minute in (0, 30)]
    typed = [*TYPED, *halves]
    read = page.evaluate(READ, [typed, NIGHTS])
    surprises = [
        (text, zone, night)
        for (zone, night), found in zip(NIGHTS, read, strict=True)
        for text, instants in zip(typed, found, strict=True)
        if instants != on_the_server(text, night, zone)
    ]
    assert surprises == []
    counts = {len(instants) for found in read for instants in found}
    assert counts == {0, 1, 2}, "the nights must hold a time that is missing and one that is twice"


STORED = """(text) => new Promise((done) => {
  const opening = indexedDB.open("duskpool-survey");
  opening.onsuccess = () => {
    const cells = opening.result.transaction("cells").objectStore("cells").getAll();
    cells.onsuccess = () => {
      opening.result.close();
      done(cells.result.some((cell) => cell.text === text));
    };
  };
})"""


def retype(page: Page, label: str, text: str) -> None:
    """Type over a time, and wait until the phone has it on its disk."""
    page.get_by_label(label).fill(text)
    page.get_by_label(label).blur()
    page.wait_for_function(STORED, arg=text)


def test_times_put_right_by_hand(phone, take_along):
    """The observer forgot to tap, and mends the times at the stop."""
    page = take_along()
    page.get_by_role("button", name="Survey the night of 15 April 2024").click()
    page.get_by_role("button", name="Go to stop 1").click()
    page.get_by_role("button", name="I am at the stop").click()
    page.get_by_text("Correct the times").click()
    arrived = page.get_by_label("Arrived")
    arrived.wait_for()
    assert arrived.input_value().startswith("20:30")
    retype(page, "Arrived", "20:12")
    retype(page, "Listening from", "20:14:30")
    page.locator(".phase__what", has_text="Stop done").wait_for()
    retype(page, "Listening to", "20:17:30")
    page.get_by_text("20:14 to 20:17").wait_for()
    page.reload()
    page.get_by_text("20:14 to 20:17").wait_for()
    page.get_by_role("button", name="Back").click()
    page.get_by_role("button", name="Finish route: weather, notes and submit").click()
    send(page)
    page.get_by_text("All on the server since").wait_for()
    cells = Visit.objects.get().cells
    assert [cells[f"stops.1.{name}_at"] for name in ("arrived", "started", "finished")] == [
        "20:12",
        "20:14:30",
        "20:17:30",
    ]
