"""Pages of the desk on a phone, also with text twice as large (WCAG 2.2, 1.4.4 and 1.4.10): wide
tables stand as slips, and the tabs of a program take one row."""

import datetime as dt

import pytest
from playwright.sync_api import Page

from accounts.models import Person, Role
from surveys.models import Source, StoredFinding, Visit
from surveys.web.program.sections import _SECTIONS
from tests.browser.conftest import PHONE
from tests.support.builders import (
    make_accepted_visit,
    make_checklist,
    make_member,
    make_own_field,
    make_program,
    make_route,
)
from tests.support.sheets import make_submitted, plain_cells

pytestmark = pytest.mark.django_db(transaction=True)

WIDE = """() => [document.documentElement, ...document.querySelectorAll(".table-wrap")]
  .filter((one) => one.scrollWidth > one.clientWidth + 1)
  .map((one) => `${one.className || one.tagName}: ${one.scrollWidth} px`)"""
# A word on two lines.
BROKEN = """(places) => {
  const range = document.createRange();
  const lines = (node, { index, 0: word }) => {
    range.setStart(node, index);
    range.setEnd(node, index + word.length);
    return new Set([...range.getClientRects()].map(({ top }) => Math.round(top))).size;
  };
  return [...document.querySelectorAll(places)]
    .flatMap((one) => [...one.childNodes].filter(({ nodeType }) => nodeType === Node.TEXT_NODE))
    .flatMap((node) => [...node.data.matchAll(/\\S+/g)].map((match) => [node, match]))
    .filter(([node, match]) => lines(node, match) > 1)
    .map(([, match]) => match[0]);
}"""


@pytest.fixture
def coordinator(live_server):
    return make_member(make_program(), Role.COORDINATOR)


@pytest.fixture
def visit(coordinator):
    peeper, toad, *_ = make_checklist(
        coordinator.program,
        "Pseudacris crucifer", "Anaxyrus americanus", "Lithobates sylvaticus",
        "Lithobates pipiens", "Lithobates clamitans", "Pseudacris maculata",
    )  # fmt: skip
    route = make_route(coordinator.program, stops=4)
    night = dt.date(2024, 4, 2)
    visit = make_accepted_visit(
        route, coordinator.person, night=night, heard={1: {peeper: 2, toad: 1}}
    )
    # A label longer than its cell, before a short value.
    depth = make_own_field(coordinator.program, "Water depth at the edge of the pond", unit="cm")
    visit.periods.filter(stop__number=1).update(own_fields={depth.key: 39})
    # Marks beside an index, in the last column of a phone.
    visit.periods.get(stop__number=1).calls.filter(species=toad).update(distance="far")
    StoredFinding.objects.create(
        visit=visit,
        code="species-out-of-season",
        severity="query",
        stop=visit.periods.get(stop__number=1).stop,
        species=peeper,
        field="index",
        message_as_stored="Out of season.",
    )
    return visit


def label_of(page: Page, cell: str) -> str:
    """What stands before a cell on a phone."""
    return page.locator(cell).first.evaluate("node => getComputedStyle(node, '::before').content")


def test_wide_tables_are_slips_on_a_phone(coordinator, visit, signed_in):
    page = signed_in(coordinator, viewport=PHONE)
    home = f"/{coordinator.program.slug}"
    found = {}
    labels = {}
    for address, cell in (
        (f"{home}/visits/{visit.pk}/", ".visit-grid td.mid"),
        (f"{home}/review/{visit.pk}/", ".conditions td.nowrap[data-label]"),
        (f"{home}/trends/", ".trend-table td"),
        (f"{home}/seasons/", ".season-table td"),
        (f"{home}/seasons/coverage/?year=2024", ".coverage-table td"),
    ):
        page.goto(address)
        labels[cell] = label_of(page, cell)
        for size in ("", "200%"):
            page.evaluate("size => { document.documentElement.style.fontSize = size }", size)
            if wide := page.evaluate(WIDE):
                found[address, size] = wide
    version = visit.protocol_version_id
    for address in (
        f"{home}/desk/",
        f"{home}/review/?state=accepted",
        f"{home}/program/assignments?season=2024",
        f"{home}/program/checklist/table",
        f"{home}/program/protocols/versions/{version}/next",
        f"{home}/program/sharing/",
        f"{home}/program/area",
        f"{home}/program/stations",
        f"{home}/program/people/observers/",
        f"{home}/program/emails/write?group=free",
        f"{home}/my-season/",
        f"{home}/free-routes/",
        f"{home}/return-time/",
        f"{home}/calls/",
    ):
        page.goto(address)
        page.evaluate("document.documentElement.style.fontSize = '200%'")
        if wide := page.evaluate(WIDE):
            found[address] = wide
    assert found == {}
    assert labels == {
        ".visit-grid td.mid": '"Pseudacris crucifer"',
        ".conditions td.nowrap[data-label]": '"Arrived"',
        ".trend-table td": '"Season year"',
        ".season-table td": '"2024"',
        ".coverage-table td": '"Spring, 15 Mar – 30 Jun"',
    }


def test_words_of_filters_and_of_the_navigation_stay_whole(coordinator, visit, signed_in):
    observer = make_member(coordinator.program)
    page = signed_in(observer, viewport=PHONE)
    found = {}
    for address in ("trends", "publications"):
        page.goto(f"/{observer.program.slug}/{address}/")
        for size in ("", "200%"):
            page.evaluate("size => { document.documentElement.style.fontSize = size }", size)
            if broken := page.evaluate(BROKEN, ".nav__link span, .filters label"):
                found[address, size] = broken
    assert found == {}


def test_the_tabs_of_a_program_take_one_row_of_a_phone_without_a_script(coordinator, signed_in):
    page = signed_in(coordinator, viewport=PHONE, java_script_enabled=False)
    page.goto(f"/{coordinator.program.slug}/program/people/")
    tabs = page.get_by_role("navigation", name="Program", exact=True)
    assert tabs.bounding_box()["height"] < 80
    assert tabs.locator("summary strong").inner_text() == "People"
    assert not tabs.get_by_role("link", name="Assignments").is_visible()
    tabs.locator("summary").click()
    assert tabs.get_by_role("link").count() == len(_SECTIONS) > 9
    tabs.get_by_role("link", name="Assignments").click()
    assert page.url.endswith("/program/assignments")


def test_tablets_lose_no_column(coordinator, signed_in):
    """Twelve seasons, a queue with what stands out, and visits behind a number."""
    program = coordinator.program
    route = make_route(program, stops=2, code="R01", name="Pitcherplant Savanna Road")
    (peeper,) = make_checklist(program, "Pseudacris crucifer")
    for year in range(2013, 2025):
        night = dt.date(year, 4, 2)
        visit = make_accepted_visit(
            route, coordinator.person, night=night, season_year=year, heard={1: {peeper: 2}}
        )
    queued = make_submitted(make_member(program), route, plain_cells(stops=2))
    Person.objects.filter(pk=queued.observer_id).update(name="Bartholomew Wolstenholme-Sedgewick")
    Visit.objects.filter(pk=queued.pk).update(source=Source.IMPORT)
    found = StoredFinding(code="air-temperature-missing", severity="query", message_as_stored="-")
    found.visit = visit
    found.save()
    page = signed_in(coordinator, viewport={"width": 768, "height": 1024})
    home = f"/{program.slug}"
    wide = {}
    for address, widths in (
        (f"{home}/review/?state=accepted", (768,)),
        (f"{home}/review/", (768, 1024)),
        (f"{home}/program/people/observers/", (768,)),
        (f"{home}/program/checklist/table", (768,)),
        (f"{home}/seasons/", (768,)),
        (f"{home}/seasons/?measure=effort", (768,)),
        (f"{home}/seasons/coverage/?year=2024", (768,)),
        (f"{home}/seasons/visits/", (768,)),
        (f"{home}/trends/", (768, 1024, 1280)),
    ):
        page.goto(address)
        for width in widths:
            page.set_viewport_size({"width": width, "height": 1024})
            if faults := [
                *page.evaluate(WIDE),
                *page.evaluate(BROKEN, ".queue thead th, .queue .row-link"),
            ]:
                wide[address, width] = faults
    assert wide == {}
    assert label_of(page, ".trend-table td") == '"Season year"'
