"""The desk: what waits, each thing with the way to the place where it is settled."""

import csv
import datetime as dt
import io

import pytest
from django.utils import timezone

from accounts.models import Membership, Role
from surveys.models import (
    Assignment,
    BackgroundRun,
    RecordingKind,
    RunKind,
    RunState,
    Visit,
    VisitState,
)
from surveys.programs.assignments import current_season_year
from surveys.seasons.coverage import tonight
from surveys.visits.drafts import start_visit
from surveys.web.desk.blocks import BLOCKS
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

pytestmark = pytest.mark.django_db


def window_around(today: dt.date, *, before: int, after: int) -> dict[str, object]:
    opens, closes = today - dt.timedelta(days=before), today + dt.timedelta(days=after)
    return {
        "name": "Main",
        "opens_month": opens.month,
        "opens_day": opens.day,
        "closes_month": closes.month,
        "closes_day": closes.day,
    }


@pytest.fixture
def today(program) -> dt.date:
    return tonight(program)


@pytest.fixture
def route(program, today):
    """One whose window closes in three nights, in a season that holds all of it."""
    begins = today - dt.timedelta(days=120)
    version = make_version(
        program,
        season_begins_month=begins.month,
        season_begins_day=min(begins.day, 28),
        windows=[window_around(today, before=40, after=3)],
    )
    return make_route(program, version=version, code="R07", region="North")


@pytest.fixture
def year(program, route) -> int:
    return current_season_year(program)


def table(client, program, block: str) -> list[dict[str, str]]:
    response = client.get(f"/{program.slug}/desk/{block}.csv")
    assert response.status_code == 200
    return list(csv.DictReader(io.StringIO(response.content.decode())))


def test_an_overdue_route_is_told_with_whoever_can_be_written_to(
    program, route, year, coordinator, client_for
):
    valid = make_member(
        program, person=make_person("Ada Reed", "ada@example.org"), trained_on=dt.date(2020, 1, 1)
    )
    left = make_member(program, person=make_person("Bo Marsh", "bo@example.org"), active=False)
    for member in (valid, left):
        Assignment.objects.create(route=route, observer=member.person, season_year=year)
    client = client_for(coordinator)
    (row,) = table(client, program, "overdue")
    assert row["Observers"] == "Ada Reed <ada@example.org>; Bo Marsh (left)"
    page = client.get(f"/{program.slug}/desk/").content.decode()
    assert 'href="mailto:ada@example.org"' in page
    assert "mailto:bo@example.org" not in page
    assert "3 nights left" in page
    assert "test valid" in page
    assert f"/{program.slug}/program/assignments?season={year}&amp;route={route.pk}" in page


def test_a_visit_that_is_submitted_is_no_longer_overdue_and_waits(
    program, route, year, observer, coordinator, client_for, today
):
    visit = make_accepted_visit(
        route,
        observer.person,
        night=today,
        season_year=year,
        window="Main",
        state=VisitState.SUBMITTED,
        counts_in_trends=False,
    )
    client = client_for(coordinator)
    assert table(client, program, "overdue") == []
    (row,) = table(client, program, "waiting")
    assert row["Night"] == today.isoformat()
    page = client.get(f"/{program.slug}/desk/").content.decode()
    assert f"/{program.slug}/review/{visit.pk}/" in page
    assert "Nothing is overdue." in page


def test_drafts_recordings_and_failures_are_on_it(
    program, route, year, observer, coordinator, client_for, today
):
    draft = start_visit(observer, route=route, night=today - dt.timedelta(days=3))
    fresh = start_visit(observer, route=route, night=today - dt.timedelta(days=2))
    (peeper,) = make_checklist(program)
    visit = make_accepted_visit(
        route,
        observer.person,
        night=today,
        season_year=year,
        heard={1: {peeper: 2}},
        state=VisitState.SUBMITTED,
        counts_in_trends=False,
    )
    recording = keep(observer, visit, sound(), kind=RecordingKind.NOTE)
    BackgroundRun.objects.create(
        program=program,
        kind=RunKind.IMPORT,
        subject="import 1",
        state=RunState.FAILED,
        problem="The worker was out of memory.",
        finished_at=timezone.now(),
    )
    client = client_for(coordinator)
    assert [row["Night"] for row in table(client, program, "drafts")] == [draft.night.isoformat()]
    assert Visit.objects.filter(pk=fresh.pk).exists()
    (heard,) = table(client, program, "to-hear")
    assert heard["Route"] == str(route)
    (failure,) = table(client, program, "failed")
    assert failure["Why"] == "The worker was out of memory."
    page = client.get(f"/{program.slug}/desk/").content.decode()
    assert f"/review/{visit.pk}/#recording-{recording.pk}" in page
    assert f"/{program.slug}/program/status" in page
    assert f'href="/{program.slug}/visits/{draft.pk}/"' in page
    assert client.get(f"/{program.slug}/visits/{draft.pk}/").status_code == 200


def test_nothing_of_another_program_is_on_it(program, route, observer, client_for, today):
    elsewhere = make_program()
    make_route(elsewhere)
    make_accepted_visit(
        route, observer.person, night=today, state=VisitState.SUBMITTED, counts_in_trends=False
    )
    client = client_for(make_member(elsewhere, Role.COORDINATOR))
    for block in BLOCKS:
        assert "R07" not in client.get(f"/{elsewhere.slug}/desk/{block}.csv").content.decode()


def test_an_unknown_list_is_not_found(program, coordinator: Membership, client_for):
    response = client_for(coordinator).get(f"/{program.slug}/desk/visits.csv")
    assert response.status_code == 404


def test_the_number_of_queries_does_not_grow(
    program, observer, coordinator, client_for, today, django_assert_max_num_queries
):
    version = make_version(program, windows=[window_around(today, before=20, after=3)])
    for number in range(12):
        route = make_route(program, version=version, stops=1)
        make_accepted_visit(
            route,
            observer.person,
            night=today - dt.timedelta(days=number),
            window="Main",
            state=VisitState.SUBMITTED,
            counts_in_trends=False,
        )
    client = client_for(coordinator)
    with django_assert_max_num_queries(40):
        page = client.get(f"/{program.slug}/desk/").content.decode()
    assert "4 more rows are in the CSV file." in page


def test_the_desk_of_a_new_program_leads_to_what_is_still_to_be_set_up(client_for):
    """Until the first visit is submitted."""
    coordinator = make_member(make_program(), Role.COORDINATOR)
    client = client_for(coordinator)
    page = client.get(f"/{coordinator.program.slug}/desk/").content.decode()
    assert "Still to set up" in page
    assert f"/{coordinator.program.slug}/program/protocols" in page
    make_checklist(coordinator.program, "Pseudacris crucifer")
    route = make_route(coordinator.program)
    make_accepted_visit(route, coordinator.person, night=dt.date(2024, 4, 2))
    assert b"Still to set up" not in client.get(f"/{coordinator.program.slug}/desk/").content
