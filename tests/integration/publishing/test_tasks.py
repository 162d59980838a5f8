"""What a run says when the worker cannot make its publication."""

import logging
from types import SimpleNamespace

import pytest

from surveys.models import Publication, RunKind, RunState
from surveys.publishing import tasks
from surveys.publishing.publish import preview, request_publication
from surveys.runs.kinds import FACTS
from tests.support.builders import make_accepted_visit, make_checklist, make_route
from tests.support.runs import carry_out

RETRIES = FACTS[RunKind.PUBLISH].tries - 1

pytestmark = pytest.mark.django_db


@pytest.fixture
def run(program, coordinator, observer):
    (peeper,) = make_checklist(program, "Pseudacris crucifer")
    route = make_route(program)
    make_accepted_visit(route, observer.person, heard={1: {peeper: 1}})
    return request_publication(coordinator, 2024, seen=preview(program, 2024).sha256)


def work(run, attempts=0):
    carry_out(run, attempts)


def lose_the_connection(run, **options):
    raise OSError("The connection was lost")


def test_a_refusal_is_said_and_not_tried_again(run):
    run.program.routes.get().visits.update(counts_in_trends=False)
    work(run)
    assert run.state == RunState.REFUSED
    assert "No accepted visit of season year 2024" in run.problem


def test_what_failed_is_tried_again_and_at_last_said(run, coordinator, monkeypatch, caplog):
    caplog.set_level(logging.CRITICAL)
    monkeypatch.setattr(tasks, "build", lose_the_connection)
    for attempts in range(RETRIES):
        with pytest.raises(OSError, match="connection was lost"):
            work(run, attempts)
        run.refresh_from_db()
        assert run.state == RunState.QUEUED
    with pytest.raises(OSError, match="connection was lost"):
        work(run, RETRIES)
    run.refresh_from_db()
    assert run.state == RunState.FAILED
    assert "after 3 tries" in run.problem
    # It can be asked for again.
    assert request_publication(coordinator, 2024).state == RunState.QUEUED


def test_a_run_that_is_gone_is_no_failure(run):
    context = SimpleNamespace(job=SimpleNamespace(attempts=0))
    tasks.publish(context, run_id=run.pk + 1)
    assert not Publication.objects.exists()
