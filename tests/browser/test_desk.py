"""The desk with something in every block: it reads well on a phone and at a desk."""

import datetime as dt
import os
import re
from pathlib import Path

import pytest
from django.utils import timezone

from accounts.models import Role
from surveys.models import (
    Assignment,
    BackgroundRun,
    RecordingKind,
    RunKind,
    RunState,
    VisitState,
)
from surveys.programs.assignments import current_season_year
from surveys.seasons.coverage import tonight
from surveys.visits.drafts import start_visit
from tests.browser.conftest import faults_in_every_look
from tests.support.builders import (
    make_accepted_visit,
    make_checklist,
    make_member,
    make_person,
    make_program,
    make_route,
    make_version,
)
from tests.support.sounds import keep, sound

pytestmark = pytest.mark.django_db(transaction=True)

PICTURES = os.environ.get("DESK_PICTURES")


@pytest.fixture
def coordinator(live_server):
    program = make_program("Larkmoor")
    return make_member(program, Role.COORDINATOR)


def fill(coordinator) -> None:
    program = coordinator.program
    today = tonight(program)
    begins, opens, closes = (today + dt.timedelta(days=days) for days in (-150, -30, 5))
    version = make_version(
        program,
        season_begins_month=begins.month,
        season_begins_day=min(begins.day, 28),
        windows=[
            {
                "name": "Late",
                "opens_month": opens.month,
                "opens_day": opens.day,
                "closes_month": closes.month,
                "closes_day": closes.day,
            }
        ],
    )
    routes = [
        make_route(program, version=version, stops=1, code=f"R{n:02}", region="North")
        for n in range(1, 13)
    ]
    peeper, toad = make_checklist(program, "Pseudacris crucifer", "Anaxyrus americanus")
    year = current_season_year(program)
    person = make_person("Maximiliana Featherstonehaugh-Cholmondeley")
    observer = make_member(program, person=person, trained_on=dt.date(2020, 1, 1))
    left = make_member(program, person=make_person("Bo Marsh"), active=False)
    for route in routes:
        Assignment.objects.create(route=route, observer=observer.person, season_year=year)
    Assignment.objects.create(route=routes[1], observer=left.person, season_year=year)
    for back in range(4):
        for route, heard in ((routes[0], {peeper: 2}), (routes[1], {toad: 1})):
            make_accepted_visit(
                route,
                observer.person,
                night=today - dt.timedelta(days=9 + 365 * back + back),
                season_year=year - back,
                window="Late",
                heard={1: heard} if back or route == routes[0] else {},
            )
    visit = make_accepted_visit(
        routes[2],
        observer.person,
        night=today,
        season_year=year,
        window="Late",
        state=VisitState.SUBMITTED,
        counts_in_trends=False,
    )
    keep(observer, visit, sound(), kind=RecordingKind.NOTE)
    start_visit(observer, route=routes[3], night=today - dt.timedelta(days=4))
    BackgroundRun.objects.create(
        program=program,
        kind=RunKind.IMPORT,
        subject="import 1",
        state=RunState.FAILED,
        problem="The worker was out of memory.",
        finished_at=timezone.now(),
    )


def test_the_desk_reads_well_everywhere(signed_in, coordinator):
    fill(coordinator)
    page = signed_in(coordinator)
    page.goto("/")
    page.wait_for_url("**/desk/")
    assert page.locator(".desk-blocks > section").count() == 8
    if PICTURES:
        take(page, Path(PICTURES))
    assert faults_in_every_look(page) == []
    page.get_by_role("link", name=re.compile(r"^Overdue")).click()
    page.locator("#overdue").get_by_role("link", name="R05").first.click()
    page.wait_for_url("**/program/assignments?season=*")
    assert page.get_by_label("Route").locator("option:checked").inner_text().startswith("R05")


def take(page, folder: Path) -> None:
    for width, height in ((390, 844), (1024, 768), (1280, 900)):
        page.set_viewport_size({"width": width, "height": height})
        page.screenshot(path=folder / f"desk-{width}.png", full_page=True)
