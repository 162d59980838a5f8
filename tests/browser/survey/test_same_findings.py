"""Random sheets judged twice, by the phone on the packet that it took along and by the server on
its rows: the same findings, in the same words and order, and as many stops.

SHEETS=2000 draws more of them."""

import datetime as dt
import json
import os
import uuid
from collections.abc import Sequence
from typing import Any

import pytest

from accounts.models import Membership
from surveys import dates
from surveys.models import ChecklistEntry, Route, Visit
from surveys.protocol.plain import to_plain
from surveys.protocol.values import PeriodStatus
from surveys.visits.drafts import start_visit
from surveys.visits.judging import judge_sheet, read_and_judge
from surveys.visits.sheet.reading_rules import READING_RULES
from surveys.web.survey.packets import route_packet
from tests.support.any_sheet import AnySheet
from tests.support.builders import (
    make_accepted_visit,
    make_checklist,
    make_member,
    make_own_field,
    make_program,
    make_route,
    make_species,
    make_version,
)

pytestmark = pytest.mark.django_db(transaction=True)

SHEETS = int(os.environ.get("SHEETS", "24"))
# Nights that a phone takes along on the second of them; after that one, stops are closed and moved.
SPRING = ("2024-04-14", "2024-04-15", "2024-04-20", "2024-05-06")
# On two of these the clocks go forward, or back: 10 March and 3 November 2024 in Chicago.
CLOCKS_FORWARD = ("2024-03-07", "2024-03-08", "2024-03-09", "2024-03-20")
CLOCKS_BACK = ("2024-10-31", "2024-11-01", "2024-11-02", "2024-11-08")
ONLY_ON_THE_SERVER = {rule.code for rule in READING_RULES if rule.only_here}
# What so few sheets come upon, of 53 rules and 11 kinds of cells that cannot be read.
LEAST_CODES = 25
KEYS = ("code", "severity", "stop", "field", "species", "variant", "params", "message", "remedy")
STRICT = {
    "earliest_start_after_sunset_min": 30,
    "latest_end_clock": dt.time(1, 0),
    "settling_wait_s": 60,
    "listening_time_s": 300,
    "longest_listening_time_s": 420,
    "listening_radius_m": 200,
    "max_beaufort": 3,
    "forbidden_skies": ["snow", "heavy_rain"],
    "loudest_noise": "faint_lost",
    "min_stops": 4,
    "min_stop_spacing_m": 2000,
    "min_days_between_visits": 15,
    "training_needed": True,
    "max_distance_from_stop_m": 100,
    "max_drive_kmh": 60,
    "sky_codes": {"3": "overcast", "A": "snow"},
    "noise_codes": {"2": "loud_only"},
    "windows": [
        {"name": "Early", "min_air_temperature": "5", "closes_month": 4, "closes_day": 30},
        {
            "name": "Late",
            "opens_month": 5,
            "opens_day": 10,
            "min_air_temperature": "41",
            "min_water_temperature": "50",
            "temperature_unit": "F",
        },
    ],
}
LOOSE = {"latest_end_after_sunset_min": 240, "stops_in_order": False, "interruption": "restart"}
ON_THE_PHONE = """async ([base, slug, packet, now, sheets]) => {
  const [clock, store, { keepPacket, openVisit }, { countStops, judgeModel }] = await Promise.all(
    ["clock", "store", "model", "findings"].map((name) => import(`${base}/${name}.js`)),
  );
  clock.setClock(() => now);
  Object.assign(document.documentElement.dataset, { dateOrder: "dmy", clock: "24" });
  await keepPacket(slug, packet);
  const found = [];
  for (const { cells, ...visit } of sheets) {
    await store.addVisit(visit, cells);
    if (!(await openVisit(visit.id, () => false, {}))) throw new Error("not on the phone");
    found.push([judgeModel(), countStops()]);
  }
  return found;
}"""


@pytest.fixture
def blank(open_context):
    """A page of this origin that runs nothing by itself."""
    page = open_context().new_page()
    page.goto("/static/web/mark.svg")
    return page


def surveyed_route(
    limits: dict[str, Any], nights: Sequence[str], *, trained: bool
) -> tuple[Route, Membership]:
    """A route of five stops, of which one closes and one moves after the second night, with
    earlier and later visits."""
    second = dt.date.fromisoformat(nights[1])
    program = make_program(clock_style="24", date_order="dmy")
    observer = make_member(program, trained_on=dt.date(2020, 1, 1) if trained else None)
    make_member(program, trained_on=dt.date(2020, 1, 1))
    make_checklist(program, "Pseudacris crucifer", "Lithobates sylvaticus", "Hyla cinerea")
    ChecklistEntry.objects.filter(species__scientific_name="Hyla cinerea").update(
        calls_from_month=5, calls_from_day=15, calls_to_month=8, calls_to_day=31
    )
    make_species("Anaxyrus americanus")
    make_own_field(program, "Salinity", required_from=second, low="1", high="3.5")
    make_own_field(program, "Cars", kind="whole", asked_until=second)
    make_own_field(
        program,
        "Shore",
        kind="choice",
        choices=[["reed", "Reed bed"], ["open", "Open"]],
        per="visit",
        required_from=second,
    )
    route = make_route(program, version=make_version(program, **limits), stops=5)
    for days in (-26, 0, 15):
        night = second + dt.timedelta(days=days)
        make_accepted_visit(route, make_member(program).person, night=night)
    last_night = second + dt.timedelta(days=1)
    route.stops.filter(number__in=(4, 5)).update(active_until=last_night)
    moved = route.stops.get(number=5)
    route.stops.create(
        number=5, name="New", place=moved.place, active_from=last_night + dt.timedelta(days=1)
    )
    return route, observer


@pytest.mark.parametrize(
    ("limits", "nights", "trained"),
    [(STRICT, SPRING, False), (LOOSE, CLOCKS_FORWARD, True), (LOOSE, CLOCKS_BACK, False)],
    ids=["strict", "clocks forward", "clocks back"],
)
def test_phone_and_server_find_the_same(blank, live_server, limits, nights, trained):
    route, observer = surveyed_route(limits, nights, trained=trained)
    now = dt.datetime.fromisoformat(f"{nights[1]}T23:30:00Z") + dt.timedelta(hours=5)
    packet = json.loads(json.dumps(route_packet(observer, route.code, now)))
    drafts = [
        draft_of(observer, route, packet, night, takes_along=takes_along)
        for night in nights
        for takes_along in (True, True, False)
    ]
    drawn = AnySheet(packet, seed=SHEETS)
    sheets = []
    for number in range(SHEETS):
        record, visit = drafts[number % len(drafts)]
        cells = drawn.cells(record["night"]) | visit.cells
        sheets.append(({**record, "id": str(uuid.uuid4()), "cells": cells}, visit))
    base, slug = f"{live_server.url}/static/survey", route.program.slug
    records = [record for record, _ in sheets]
    answers = blank.evaluate(ON_THE_PHONE, [base, slug, packet, now.timestamp() * 1000, records])
    wrong, codes = [], set()
    for (record, visit), (found, counts) in zip(sheets, answers, strict=True):
        phone = [{key: one[key] for key in KEYS} for one in found]
        visit.cells = record["cells"]
        assert counts == server_counts(visit, now), record
        expected = server_findings(visit, now)
        if expected != phone:
            only = [("phone", one) for one in phone if one not in expected]
            only += [("server", one) for one in expected if one not in phone]
            wrong.append((record["night"], record["cells"], only or "another order"))
        codes.update(one["code"] for one in phone)
    assert not wrong, f"{len(wrong)} of {SHEETS}, the first: {wrong[0]}"
    assert len(codes) > LEAST_CODES, codes


def draft_of(
    observer: Membership, route: Route, packet: dict, night: str, *, takes_along: bool
) -> tuple[dict[str, Any], Visit]:
    """An empty draft as the phone stores it, and on the server; with `takes_along` the stops of the
    second night were taken along."""
    stops = packet["route"]["stops"]
    taken = [stop for stop in stops if takes_along and stop["from"] <= packet["tonight"]]
    carried = {str(stop["number"]): stop["id"] for stop in taken}
    visit = start_visit(
        observer, route=route, night=dt.date.fromisoformat(night), carried_stops=carried
    )
    record = {
        "slug": route.program.slug,
        "packet": f"{route.program.slug}/{route.code}",
        "route": {"code": route.code, "name": route.name},
        "person": packet["person"],
        "night": night,
        "version": visit.protocol_version_id,
        "stops": carried,
        "revision": None,
        "state": "draft",
        "findings": [],
        "synced_at": None,
    }
    return record, visit


def server_counts(visit: Visit, now: dt.datetime) -> dict[str, int]:
    judged = read_and_judge(visit, now)
    stops = judged.background.stops
    at_stops = [period for period in judged.reading.visit.periods if period.stop in stops]
    skipped = sum(period.status is PeriodStatus.SKIPPED for period in at_stops)
    return {
        "stops": len(stops),
        "surveyed": len(at_stops) - skipped,
        "skipped": skipped,
        "blank": len(stops) - len(at_stops),
    }


def server_findings(visit: Visit, now: dt.datetime) -> list[dict[str, Any]]:
    with dates.using(visit.route.program.date_style):
        findings = judge_sheet(visit, now)
    told = [
        {
            "code": finding.code,
            "severity": str(finding.severity),
            **to_plain(finding.where),
            "variant": finding.variant,
            "params": dict(finding.params),
            "message": finding.message,
            "remedy": finding.remedy,
        }
        for finding in findings
        if finding.code not in ONLY_ON_THE_SERVER
    ]
    return json.loads(json.dumps(told))
