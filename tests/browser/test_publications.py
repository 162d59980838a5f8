"""Closing a season: from what is open to the published version, and what axe says of it."""

import datetime as dt

import pytest
from django.db import connection

from accounts.models import Role
from surveys.models import (
    BackgroundRun,
    CallIndex,
    RunState,
    Visit,
    VisitState,
)
from surveys.publishing.build import build
from surveys.publishing.withdrawing import withdraw_publication
from surveys.runs.work import fail
from tests.browser.conftest import (
    PHONE,
    faults_of,
)
from tests.support.builders import (
    make_accepted_visit,
    make_member,
)
from tests.support.frozen import small_program
from tests.support.publishing import publish_now
from tests.support.runs import make_publishing_run

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def coordinator(transactional_db):
    with connection.cursor() as cursor:
        cursor.execute("TRUNCATE procrastinate_jobs CASCADE")
    return make_member(small_program(), Role.COORDINATOR)


def leave_something_open(coordinator):
    route = coordinator.program.routes.get(code="R2")
    visit = make_accepted_visit(
        route,
        Visit.objects.first().observer,
        night=dt.date(2024, 6, 5),
        state=VisitState.SUBMITTED,
        counts_in_trends=False,
    )
    visit.findings.create(
        code="too-windy",
        severity="query",
        message_as_stored="The wind was above the limit of Beaufort 3.",
    )


def test_a_season_is_closed(coordinator, signed_in):
    """The page of the run goes on by itself until the worker is done."""
    page = signed_in(coordinator, viewport=PHONE)
    page.goto(f"/{coordinator.program.slug}/publications/")
    page.get_by_role("link", name="Close a season").first.click()
    page.get_by_role("button", name="Publish version 1").click()
    page.get_by_text("Waiting in line").wait_for()
    run = BackgroundRun.objects.get()
    BackgroundRun.objects.update(
        state=RunState.RUNNING, step="Trend of Pseudacris crucifer by stop", done=3, total=20
    )
    page.get_by_text("Trend of Pseudacris crucifer by stop").wait_for()
    run.refresh_from_db()
    build(run, formats=())
    page.get_by_role("link", name="Open it").click()
    page.get_by_text("How to cite it").wait_for()
    assert page.get_by_text("data/calls.csv").count() == 1


def test_screens_are_accessible(coordinator, signed_in):
    program = coordinator.program
    publish_now(coordinator, 2024)
    leave_something_open(coordinator)
    CallIndex.objects.filter(index=3).update(index=2)
    publish_now(coordinator, 2024, "Full chorus was written down where calls only overlapped.")
    going = make_publishing_run(
        program, 2023, coordinator.person,
        state=RunState.RUNNING, step="Writing report.pdf", done=7, total=33,
    )  # fmt: skip
    failed = make_publishing_run(program, 2022, coordinator.person)
    fail(failed, "The files could not be made, in 3 tries. Nothing was published.")
    home = f"/{program.slug}/publications/"
    pages = [
        home,
        f"{home}publish/?year=2024",
        f"{home}publish/?year=2022",
        f"{home}runs/{going.pk}/",
        f"{home}runs/{failed.pk}/",
        f"{home}2024/1/",
        f"{home}2024/2/",
        f"{home}2024/2/changes/",
        f"{home}2024/2/withdraw/",
        f"{home}too-exact/",
    ]
    page = signed_in(coordinator)
    assert faults_of(page, pages) == {}
    withdraw_publication(coordinator, 2024, 1, reason="A location was given too exactly.", here="")
    assert faults_of(page, [f"{home}2024/1/"]) == {}
