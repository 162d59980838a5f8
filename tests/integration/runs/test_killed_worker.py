"""Fits and simulations whose worker is killed: the next one takes them up, exactly once.

A worker process with the command that `run_workers` starts is ended by SIGKILL. Publications and
imports have their own such tests.
"""

import time
from concurrent.futures import ThreadPoolExecutor

import pytest
from django.db import connection

from surveys.fitting.power import cells_of, request_power_study, simulated_cells
from surveys.fitting.refit import refit
from surveys.models import BackgroundRun, RunState, SpeciesFit
from surveys.runs.queues import FITS, SIMULATIONS
from surveys.runs.tasks import put_back_stalled, silent_workers
from surveys.visits.refitting import refit_trends
from tests.support.builders import make_member
from tests.support.frozen import small_program
from tests.support.runs import take_up
from tests.support.worker_process import PATIENCE_S, kill, start_worker, work_off

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def program(transactional_db):
    return small_program()


def wait_until(run: BackgroundRun, worker, done: int) -> None:
    """The run has got so far, or the worker has ended."""
    begun = time.monotonic()
    while time.monotonic() - begun < PATIENCE_S and worker.is_alive():
        run.refresh_from_db()
        if run.state == RunState.RUNNING and run.done >= done and run.step:
            return
        time.sleep(0.02)


def kill_at(run: BackgroundRun, done: int, *, queue: str = FITS) -> None:
    worker = start_worker(queue)
    wait_until(run, worker, done)
    kill(worker)
    run.refresh_from_db()
    assert run.state == RunState.RUNNING, run.problem


def silence_workers() -> None:
    """As if the workers that are there now had been silent for a minute."""
    with connection.cursor() as cursor:
        cursor.execute("UPDATE procrastinate_workers SET last_heartbeat = now() - interval '1 min'")


def put_back(_) -> int:
    try:
        return len(put_back_stalled(silent_workers()))
    finally:
        connection.close()


def test_a_fit_is_taken_up_exactly_once(program):
    run = refit_trends(program.pk, after_s=0)
    kill_at(run, 1)
    silence_workers()
    with ThreadPoolExecutor(4) as pool:
        assert sum(pool.map(put_back, range(4))) == 1
    assert put_back_stalled(silent_workers()) == []

    second, third = start_worker(FITS), start_worker(FITS)
    for worker in (second, third):
        worker.join(PATIENCE_S)
    run.refresh_from_db()
    assert (run.state, run.attempts) == (RunState.DONE, 2)
    assert run.done == run.total == SpeciesFit.objects.count() > 0
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT status, attempts FROM procrastinate_jobs WHERE id = %s", [run.job_id]
        )
        assert cursor.fetchall() == [("succeeded", 2)]


def test_a_killed_fit_does_not_keep_the_next_one_waiting_for_ever(program):
    """Its job holds the lock of the fits of the program; asked for meanwhile, another waits."""
    killed = refit_trends(program.pk, after_s=0)
    kill_at(killed, 1)
    following = refit_trends(program.pk, after_s=0)
    assert following.pk != killed.pk
    work_off(FITS)
    following.refresh_from_db()
    assert following.state == RunState.QUEUED
    take_up()
    work_off(FITS)
    for run in (killed, following):
        run.refresh_from_db()
        assert run.state == RunState.DONE


def test_a_simulation_is_taken_up(program):
    refit(program)
    species = program.checklist.order_by("order").first().species
    study = request_power_study(
        make_member(program, "coordinator"), species, routes=2, visits=2, years=4, fall=0.4
    )
    study.plan["visits"] = study.plan["visits"][-1:]  # Half of the cells.
    study.save()
    kill_at(study.run, 1, queue=SIMULATIONS)
    study.refresh_from_db()
    assert cells_of(study) == ()
    take_up()
    work_off(SIMULATIONS)
    study.refresh_from_db()
    assert (study.run.state, study.run.attempts) == (RunState.DONE, 2)
    assert cells_of(study) == simulated_cells(study)
    assert len(cells_of(study)) == 3
