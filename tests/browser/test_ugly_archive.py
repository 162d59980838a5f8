"""An archive in eight ugly files is brought in, reviewed and published on the screens.

Clicks and keys are counted, and what a hand would need for them beside what the machine took. What
is published is compared with what was written into the files.

    pytest -m slow -s tests/browser/test_ugly_archive.py
"""

import csv
import io
import json
import re
import time
from collections import defaultdict
from collections.abc import Callable

import pytest
from django.urls import reverse
from playwright.sync_api import Locator, Page, expect

from accounts.models import Role
from surveys.demo.catalog import load_species
from surveys.models import BackgroundRun, Program, RunKind, RunState, Visit, VisitState
from surveys.publishing.build import build
from tests.browser.test_archive_review import resolve_every_question
from tests.support import places
from tests.support.builders import make_checklist, make_member, make_program, make_version
from tests.support.hand import Hand
from tests.support.runs import carry_out
from tests.support.ugly_archive import Archive, made
from tests.support.ugly_files import LEAVE_OUT, UglyFile, ugly_files

pytestmark = pytest.mark.django_db(transaction=True)
_AGAIN = "imported before"
# 12,911 rows took 130 clicks, 362 s of a hand and 265 s of a machine that did much besides.
MOST_CLICKS, MOST_MINUTES = 150, 15
# Of answers to the problems of one file.
MOST_ROUNDS = 5


@pytest.fixture
def desk(transactional_db, signed_in):
    load_species()
    program = make_program(temperature_unit="F", distance_unit="mi")
    make_version(program, max_beaufort=4)
    page = signed_in(make_member(program, Role.COORDINATOR))
    page.goto(reverse("web:program_routes", args=[program.slug]))
    return page


def test_an_archive_of_eight_ugly_files_is_published(desk, record_property):
    archive = made(routes=4, stops=5, nights=2, years_a_file=1, species=3)
    bring_in_review_and_publish(desk, archive, record_property, tables_alone)


@pytest.mark.slow
def test_an_archive_of_12000_rows_in_eight_ugly_files_is_published(desk, record_property):
    archive = made(routes=24, stops=10, nights=3, years_a_file=2, species=6)
    bring_in_review_and_publish(desk, archive, record_property, carry_out)


def tables_alone(run: BackgroundRun) -> None:
    build(run, formats=(), runs=2)


def bring_in_review_and_publish(
    desk: Page, archive: Archive, record_property, make: Callable[[BackgroundRun], object]
) -> None:
    make_checklist(Program.objects.get(), *archive.names)
    hand, begun = Hand(), time.monotonic()

    def note(step: str) -> None:
        told = f"{hand.clicks} clicks, {hand.keys} keys, {hand.seconds:.0f} s of a hand"
        record_property(step, f"{told}, {time.monotonic() - begun:.0f} s by script")
        print(f"{step}: {told}, {time.monotonic() - begun:.0f} s by script")  # noqa: T201

    bring_in_routes(desk, hand, archive)
    note("Routes")
    hand.click(desk.get_by_role("link", name="Import", exact=True).first)
    for file in ugly_files(archive):
        bring_in(desk, hand, file)
        note(f"{file.name}, {file.rows} rows")
    review(desk, hand, len(archive.visits))
    note("Review")
    publish(desk, hand, archive, make)
    note("Publication")
    assert published(desk) == archive.told()
    nights = {(row["route"], row["night"]) for row in table(desk, "visits")}
    assert nights == {(night.code, night.date.isoformat()) for night in archive.visits}
    credited = Visit.objects.values_list("route__code", "night", "observer__name")
    assert set(credited) == {(one.code, one.date, one.observer) for one in archive.visits}
    assert hand.clicks <= MOST_CLICKS
    assert time.monotonic() - begun + hand.seconds < MOST_MINUTES * 60


def bring_in_routes(desk: Page, hand: Hand, archive: Archive) -> None:
    hand.click(desk.get_by_role("link", name="Import routes").first)
    choose_file(desk, hand, "routes.kml", places.kml(archive.places))
    hand.click(desk.get_by_role("button", name="Upload"))
    desk.get_by_role("heading", name="Ready to import").wait_for()
    hand.click(desk.get_by_role("button", name="Import the routes"))
    desk.get_by_text(f"Added: {archive.routes} routes").wait_for()


def choose_file(desk: Page, hand: Hand, name: str, content: bytes) -> None:
    file = {"name": name, "mimeType": "application/octet-stream", "buffer": content}
    desk.locator("input[type=file]").set_input_files(file)
    hand.clicks += 3  # The button, the file, and "Open".


def press(desk: Page, hand: Hand, target: Locator) -> None:
    """What it asks of the worker is done when it returns."""
    with desk.expect_navigation():
        hand.click(target)
    for run in BackgroundRun.objects.filter(state=RunState.QUEUED, kind__contains="import"):
        carry_out(run)


def heading(desk: Page, *texts: str) -> str:
    """Wait until one of them is the heading of the page; a page of a run goes on by itself."""
    found = desk.get_by_role("heading", level=1)
    expect(found).to_have_text(re.compile("|".join(texts)))
    return found.inner_text()


def bring_in(desk: Page, hand: Hand, file: UglyFile) -> None:
    choose_file(desk, hand, file.name, file.content)
    press(desk, hand, desk.get_by_role("button", name="Upload"))
    heading(desk, "What do the columns mean")
    for header, meaning in file.columns.items():
        choice = desk.get_by_label(header, exact=True)
        if chosen_in(choice) != meaning:
            hand.choose(choice, label=meaning)
    press(desk, hand, desk.get_by_role("button", name="Check the file"))
    for _ in range(MOST_ROUNDS):
        if heading(desk, "Ready to import", "Not ready yet") == "Ready to import":
            break
        settle(desk, hand, file)
    if file.people:
        say_who_they_are(desk, hand, file)
    press(desk, hand, desk.get_by_role("button", name=re.compile("^Import [0-9]+ visits?$")))
    heading(desk, "Imported")
    hand.click(desk.get_by_role("link", name="Import another file"))


def chosen_in(choice: Locator) -> str:
    return choice.evaluate("one => one.selectedOptions[0].text.trim()")


def settle(desk: Page, hand: Hand, file: UglyFile) -> None:
    """Answer all problems that are shown, as somebody does who reads them from top to bottom."""
    earlier = desk.get_by_role("button", name="Let the stops begin earlier")
    if earlier.count():
        press(desk, hand, earlier)
        return
    problems = desk.locator(".import-problem")
    if problems.filter(has_text=_AGAIN).count():
        press(desk, hand, desk.get_by_role("link", name="Change the columns").first)
        hand.click(desk.get_by_label("Skip visits that were already imported"))
        press(desk, hand, desk.get_by_role("button", name="Check the file"))
        return
    for problem in problems.all():
        answer(problem, hand, file)
    press(desk, hand, desk.get_by_role("button", name="Use these answers").first)


def answer(problem: Locator, hand: Hand, file: UglyFile) -> None:
    kind, _, written, _ = json.loads(problem.locator("input[type=hidden]").input_value())
    if kind == "rows":
        said = problem.inner_text()
        assert any(text in said for text, meant in file.answers.items() if meant is LEAVE_OUT), said
        hand.click(problem.get_by_label("Leave these rows out"))
        return
    assert written in file.answers, problem.inner_text()
    meant = file.answers[written]
    options = problem.locator("select")
    if not options.count():
        hand.type(problem.locator("input[id^=as_]"), meant)
    elif not chosen_in(options).startswith(meant):
        labels = options.locator("option").all_inner_texts()
        hand.choose(options, label=next(one for one in labels if one.strip().startswith(meant)))


def say_who_they_are(desk: Page, hand: Hand, file: UglyFile) -> None:
    hand.click(desk.get_by_text("Is one of them someone you know?"))
    for short, full in file.people.items():
        hand.choose(desk.get_by_label(short, exact=True), label=full)
    press(desk, hand, desk.get_by_role("button", name="Use these answers"))
    heading(desk, "Ready to import")


def review(desk: Page, hand: Hand, visits: int) -> None:
    hand.click(desk.get_by_role("link", name="Review", exact=True).first)
    hand.click(desk.get_by_role("link", name="Review many"))
    expect(desk.get_by_role("heading", name="Review many")).to_be_visible()
    resolve_every_question(desk, hand)
    hand.click(desk.get_by_role("button", name=f"Accept {visits} visits"))
    expect(desk.get_by_text(f"{visits} visits are accepted.")).to_be_visible()
    assert set(Visit.objects.values_list("state", flat=True)) == {VisitState.ACCEPTED}


def publish(
    desk: Page, hand: Hand, archive: Archive, make: Callable[[BackgroundRun], object]
) -> None:
    hand.click(desk.get_by_role("link", name="Publications").first)
    hand.click(desk.get_by_role("link", name="Close a season").first)
    hand.choose(desk.get_by_label("Season", exact=True), label=str(archive.last_year))
    hand.click(desk.get_by_role("button", name="Show"))
    hand.click(desk.get_by_role("button", name="Publish version 1"))
    desk.get_by_text("Waiting in line").wait_for()
    make(BackgroundRun.objects.get(kind=RunKind.PUBLISH))
    hand.click(desk.get_by_role("link", name="Open it"))
    desk.get_by_text("How to cite it").wait_for()


def published(desk: Page) -> dict[tuple[str, int], tuple[int, ...]]:
    """By species and year: routes, stops, visits, listening periods and stops where it was heard,
    of the yearly table, then listening periods at call index 0 to 3, of the calls."""
    calls, periods, visits, yearly = (
        table(desk, name) for name in ("calls", "periods", "visits", "yearly")
    )
    year_of_visit = {row["visit"]: int(row["season_year"]) for row in visits}
    year = {row["period"]: year_of_visit[row["visit"]] for row in periods}
    at_index: dict[tuple[str, int], list[int]] = defaultdict(lambda: [0, 0, 0, 0])
    for row in calls:
        if row["call_index"]:
            at_index[row["species"], year[row["period"]]][int(row["call_index"])] += 1
    counts = ("routes", "stops", "visits", "periods", "stops_detected")
    return {
        (key := (row["species"], int(row["season_year"]))): (
            *(int(row[count]) for count in counts),
            *at_index[key],
        )
        for row in yearly
    }


def table(desk: Page, name: str) -> list[dict[str, str]]:
    link = desk.get_by_role("link", name=f"data/{name}.csv", exact=True).get_attribute("href")
    return list(csv.DictReader(io.StringIO(desk.request.get(link).text())))
