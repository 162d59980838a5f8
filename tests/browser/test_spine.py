"""One night from the road to the agency's table, in a real browser.

An observer types a ten-stop visit with one breach and submits it; a coordinator
settles the query and accepts; Seasons, Trends and the CSV change by exactly that visit.
"""

import csv
import datetime as dt
import io
import re

import pytest
from playwright.sync_api import Page, expect

from accounts.models import Role
from tests.support.builders import (
    make_accepted_visit,
    make_checklist,
    make_member,
    make_program,
    make_route,
    make_version,
)

STOPS = 10
COLD_STOP = 4
SAVED = re.compile("Saved at|All changes saved")
CHORUS = {1: "3", 2: "2", 7: "1"}

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def scene():
    """A route with an earlier visit of the same season: a peeper at stop 1."""
    program = make_program(temperature_unit="F", distance_unit="mi")
    peeper, _ = make_checklist(program, "Pseudacris crucifer", "Lithobates sylvaticus")
    version = make_version(
        program,
        earliest_start_after_sunset_min=30,
        latest_end_clock=dt.time(1),
        min_stops=STOPS,
        windows=[{"name": "Spring", "min_air_temperature": 42, "temperature_unit": "F"}],
    )
    route = make_route(program, version=version, stops=STOPS, code="R01")
    observer = make_member(program, Role.OBSERVER)
    make_accepted_visit(route, observer.person, night=dt.date(2024, 4, 10), heard={1: {peeper: 1}})
    return route, observer, make_member(program, Role.COORDINATOR)


def cell(page: Page, address: str):
    return page.locator(f'[id="{address}"]')


def type_stop(page: Page, stop: int) -> None:
    minute = dt.datetime(2024, 4, 20, 21, tzinfo=dt.UTC) + dt.timedelta(minutes=12 * (stop - 1))
    cell(page, f"stops.{stop}.status").select_option("listened")
    for field, after in (("arrived_at", 0), ("started_at", 1), ("finished_at", 6)):
        clock = minute + dt.timedelta(minutes=after)
        cell(page, f"stops.{stop}.{field}").fill(f"{clock:%H:%M}")
    temperature = "38" if stop == COLD_STOP else "55"
    cell(page, f"stops.{stop}.air_temperature").fill(temperature)
    if stop in CHORUS:
        cell(page, f"stops.{stop}.calls.pseudacris-crucifer").fill(CHORUS[stop])


def trend_rows(page: Page, slug: str) -> dict[str, dict[str, str]]:
    page.goto(f"/{slug}/trends/")
    with page.expect_download() as download:
        page.get_by_role("link", name="This table (CSV)").click()
    text = download.value.path().read_text(encoding="utf-8-sig")
    return {row["species"]: row for row in csv.DictReader(io.StringIO(text))}


def season_cell(page: Page, slug: str) -> str:
    page.goto(f"/{slug}/seasons/?species=pseudacris-crucifer")
    return page.locator("main table tbody tr td").first.inner_text()


def test_one_night_from_the_road_to_the_table(scene, signed_in):
    route, observer, coordinator = scene
    slug = route.program.slug
    desk = signed_in(coordinator)
    before, cell_before = trend_rows(desk, slug), season_cell(desk, slug)
    assert before["Pseudacris crucifer"]["visits"] == "1"

    road = signed_in(observer)
    road.goto(f"/{slug}/tonight/")
    road.get_by_role("link", name="My visits").click()
    road.get_by_role("link", name="Enter a paper sheet").first.click()
    road.get_by_label("Route").select_option("R01")
    road.get_by_label("Night", exact=False).fill("2024-04-20")
    road.get_by_role("button", name="Open the sheet").click()
    for end in ("start", "end"):
        cell(road, f"{end}.air_temperature").fill("55")
        cell(road, f"{end}.beaufort").fill("1")
        cell(road, f"{end}.sky").select_option("clear")
    for stop in range(1, STOPS + 1):
        type_stop(road, stop)
    expect(road.locator("#sheet-status")).to_contain_text("Saved at")
    said = road.locator(f'[id="note-stops.{COLD_STOP}.air_temperature"]')
    expect(said).to_contain_text("38 °F")
    expect(road.locator("#rules-say .finding--refuse")).to_have_count(0)
    road.get_by_role("button", name="Submit").click()
    expect(road.get_by_text("Submitted.", exact=False).first).to_be_visible()

    desk.goto(f"/{slug}/review/")
    desk.locator("a.row-link").first.click()
    settle = desk.locator("form.settle")
    expect(settle).to_have_count(1)
    settle.get_by_text("Counts", exact=True).click()
    settle.get_by_label("Reason").fill("Sheltered hollow; the frogs called all the same.")
    settle.get_by_role("button", name=re.compile("Save decision")).click()
    desk.get_by_role("button", name=re.compile("Accept")).first.click()
    expect(desk.get_by_text(re.compile("accepted", re.IGNORECASE)).first).to_be_visible()

    after = trend_rows(desk, slug)
    peeper, was = after["Pseudacris crucifer"], before["Pseudacris crucifer"]
    assert (peeper["visits"], peeper["periods"]) == ("2", str(int(was["periods"]) + STOPS))
    assert (was["stops_detected"], peeper["stops_detected"]) == ("1", "3")
    assert float(peeper["naive_occupancy"]) == pytest.approx(3 / STOPS)
    assert [float(peeper[f"share_index_{index}"]) for index in (1, 2, 3)] == [0.1, 0.1, 0.1]
    assert (peeper["first_night"], peeper["last_night"]) == ("2024-04-10", "2024-04-20")
    silent, was = after["Lithobates sylvaticus"], before["Lithobates sylvaticus"]
    assert (silent["visits"], silent["periods"]) == ("2", str(int(was["periods"]) + STOPS))
    assert silent["stops_detected"] == "0"
    assert {name: after[name]["routes"] for name in after} == dict.fromkeys(before, "1")

    assert "1/10" in cell_before.replace(" ", "")
    assert "3/10" in season_cell(desk, slug).replace(" ", "")


def test_nothing_typed_is_lost(scene, signed_in):
    """Reload, a dead connection and a lost session: every text is there afterwards."""
    route, observer, _ = scene
    slug = route.program.slug
    page = signed_in(observer)
    page.goto(f"/{slug}/sheets/new/?route=R01&night=2024-04-21")
    page.get_by_role("button", name="Open the sheet").click()
    sheet = page.url
    cell(page, "stops.1.paused_minutes").fill("2")
    expect(page.locator("#sheet-status")).to_contain_text("Saved at")

    page.context.set_offline(True)
    cell(page, "stops.2.paused_minutes").fill("5")
    expect(page.locator("#sheet-status")).to_contain_text("kept in this browser")
    page.context.set_offline(False)
    page.reload()
    expect(cell(page, "stops.2.paused_minutes")).to_have_value("5")
    expect(page.locator("#sheet-status")).to_contain_text(SAVED)

    session = [c for c in page.context.cookies() if c["name"] == "sessionid"]
    page.context.clear_cookies(name="sessionid")
    cell(page, "stops.3.paused_minutes").fill("7")
    expect(page.get_by_role("link", name="Sign in again")).to_be_visible()
    page.context.add_cookies(session)
    page.goto(sheet)
    expect(cell(page, "stops.3.paused_minutes")).to_have_value("7")
    expect(page.locator("#sheet-status")).to_contain_text(SAVED)
    page.reload()
    assert [cell(page, f"stops.{stop}.paused_minutes").input_value() for stop in (1, 2, 3)] == [
        "2",
        "5",
        "7",
    ]
    heads_stay_and_a_phone_shows_one_stop(page)


def heads_stay_and_a_phone_shows_one_stop(page: Page):
    """Heads of columns are in view at any scroll of the page."""
    page.evaluate(
        """() => {
          const { bottom } = document.querySelector(".sheet-wrap").getBoundingClientRect();
          scrollBy(0, bottom - innerHeight / 2);
        }"""
    )
    page.wait_for_function(
        """() => {
          const bar = document.querySelector(".sky").getBoundingClientRect().bottom;
          const head = document.querySelector(".sheet thead th").getBoundingClientRect();
          return head.top >= bar - 1 && head.bottom <= innerHeight;
        }"""
    )
    page.set_viewport_size({"width": 390, "height": 844})
    expect(cell(page, "stops.1.paused_minutes")).to_be_visible()
    expect(cell(page, "stops.1.paused_minutes")).to_have_attribute("inputmode", "decimal")
    expect(cell(page, "stops.2.paused_minutes")).to_be_hidden()
    a_finger_types_what_digits_lack(page)
    page.get_by_role("button", name="Next stop").click()
    expect(cell(page, "stops.2.paused_minutes")).to_be_visible()
    expect(cell(page, "stops.1.paused_minutes")).to_be_hidden()
    page.get_by_role("link", name="To stop 9").click()
    expect(cell(page, "stops.9.paused_minutes")).to_be_visible()


def a_finger_types_what_digits_lack(page: Page):
    """Cells of digits have the keyboard of digits, and its signs stand beside them."""
    touch = page.context.new_cdp_session(page)
    touch.send("Emulation.setTouchEmulationEnabled", {"enabled": True})
    key = page.locator(".number-keys").get_by_role("button")
    box = cell(page, "stops.1.calls.pseudacris-crucifer")

    def press(name: str, expected: str) -> None:
        key.filter(has_text=name).click()
        expect(box).to_have_value(expected)

    expect(box).to_have_attribute("inputmode", "numeric")
    box.fill("2")
    press("not sure", "?")
    expect(key).to_have_count(1)
    # Which cells of which programs have the others is asked of the server.
    for keys, typed, pressed in (
        ("T", "", (("trace", "T"), ("trace", ""))),
        ("am pm", "9:14", (("pm", "9:14 pm"), ("am", "9:14 am"), ("am", "9:14"))),
        ("-", "12.5", (("minus", "-12.5"), ("minus", "12.5"))),
    ):
        box.evaluate("(box, keys) => { box.blur(); box.dataset.keys = keys; box.focus(); }", keys)
        box.fill(typed)
        for name, expected in pressed:
            press(name, expected)
    box.fill("")
    page.locator("h1").click()
    touch.send("Emulation.setTouchEmulationEnabled", {"enabled": False})


def test_what_is_typed_before_the_script_arrives_is_kept(scene, signed_in):
    route, observer, _ = scene
    page = signed_in(observer)
    held = []
    page.route("**/sheets/sheet.js", lambda route: held.append(route))
    page.goto(f"/{route.program.slug}/sheets/new/?route=R01&night=2024-04-23")
    page.get_by_role("button", name="Open the sheet").click(no_wait_after=True)
    cell(page, "stops.1.paused_minutes").fill("4")
    held[0].continue_()
    expect(page.locator("#sheet-status")).to_contain_text("Saved at")
    page.unroute("**/sheets/sheet.js")
    page.reload()
    expect(cell(page, "stops.1.paused_minutes")).to_have_value("4")


def test_cells_are_reached_by_keyboard(scene, signed_in):
    route, observer, _ = scene
    page = signed_in(observer)
    page.goto(f"/{route.program.slug}/sheets/new/?route=R01&night=2024-04-22")
    with page.expect_navigation():  # To the end, scripts included.
        page.get_by_role("button", name="Open the sheet").click()
    cell(page, "stops.1.calls.pseudacris-crucifer").focus()
    page.keyboard.type("3")
    page.keyboard.press("Enter")
    page.keyboard.type("2")
    page.keyboard.press("ArrowRight")
    page.keyboard.type("1")
    page.keyboard.press("ArrowUp")
    page.keyboard.type("0")
    texts = {
        address: cell(page, address).input_value()
        for stop in (1, 2)
        for code in ("pseudacris-crucifer", "lithobates-sylvaticus")
        if (address := f"stops.{stop}.calls.{code}")
    }
    assert list(texts.values()) == ["3", "0", "2", "1"]
