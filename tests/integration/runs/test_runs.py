"""A background run of any kind: one about a subject, one attempt at a time, and always an end."""

import datetime as dt
from types import SimpleNamespace

import psycopg
import pytest
from asgiref.sync import async_to_sync
from django.core.exceptions import PermissionDenied
from django.db import IntegrityError, OperationalError, connection, transaction
from django.utils import timezone
from procrastinate.contrib.django import app
from procrastinate.contrib.django.models import ProcrastinateJob

from accounts.invitations import invite
from accounts.mailing import send_letter
from surveys.models import UNDER_WAY, BackgroundRun, RunKind, RunState
from surveys.runs import tasks
from surveys.runs import work as work_module
from surveys.runs.enqueue import (
    another_is_due,
    current_run,
    enqueue,
    enqueue_unless_queued,
    give_up_lost,
    latest_run,
)
from surveys.runs.kinds import FACTS, task_name
from surveys.runs.progress import Progress
from surveys.runs.queues import FITS, LONG, SIMULATIONS
from surveys.runs.tasks import (
    clean_up,
    put_back_stalled,
    silent_workers,
    take_up_silent,
    take_up_stalled,
)
from surveys.runs.work import (
    MOST_ATTEMPTS,
    RunOverError,
    _carry_out,
    _leave_job_to_successor,
    begin,
    fail,
    finish,
    note,
)
from tests.support.builders import make_program
from tests.support.runs import forget_jobs, task_of

pytestmark = pytest.mark.django_db


# Of the queue library.
HEARTBEAT_EVERY_S = 10.0


def ask_about(program, subject="publication 2024", kind=RunKind.PUBLISH, **more):
    return enqueue(kind, program.pk, subject=subject, **more)


def job_of(run):
    return ProcrastinateJob.objects.get(pk=run.job_id)


def again(run):
    return BackgroundRun.objects.get(pk=run.pk)


@pytest.mark.parametrize("kind", RunKind)
def test_every_kind_is_carried_out_by_a_task_in_its_own_queue(program, kind):
    run = ask_about(program, kind=kind)
    job, task = job_of(run), task_of(kind)
    assert (job.task_name, job.queue_name) == (task.name, task.queue)
    own = {RunKind.FIT: FITS, RunKind.POWER: SIMULATIONS}
    assert job.queue_name == own.get(kind, LONG)
    assert job.args == {"run_id": run.pk}
    assert task.name == task_name(kind)


@pytest.mark.parametrize(
    ("kind", "lock"),
    [
        (RunKind.CHECK_IMPORT, "import of program {}"),
        (RunKind.IMPORT, "import of program {}"),
        (RunKind.PUBLISH, "publication of program {}"),
        (RunKind.FIT, "fits of program {}"),
        (RunKind.POWER, None),
    ],
)
def test_runs_of_a_program_take_turns_with_their_like(program, kind, lock):
    run = ask_about(program, kind=kind)
    assert job_of(run).lock == (lock and lock.format(program.pk))


def test_run_and_job_are_kept_together_or_not_at_all(program):
    with transaction.atomic():
        ask_about(program)
        transaction.set_rollback(True)
    assert not BackgroundRun.objects.exists()
    assert not ProcrastinateJob.objects.exists()


@pytest.mark.parametrize("state", UNDER_WAY)
@pytest.mark.parametrize("kind", [kind for kind in RunKind if kind != RunKind.FIT])
def test_one_run_about_a_subject_is_under_way(program, kind, state):
    run = ask_about(program, kind=kind)
    BackgroundRun.objects.filter(pk=run.pk).update(state=state)
    with pytest.raises(IntegrityError, match="run_one_at_a_time"), transaction.atomic():
        ask_about(program, kind=kind)
    ask_about(program, subject="something else", kind=kind)
    ask_about(make_program(), kind=kind)
    fail(again(run), "It ended.")
    assert ask_about(program, kind=kind).pk != run.pk


def test_a_file_is_not_imported_while_it_is_checked(program):
    ask_about(program, "import 1", RunKind.CHECK_IMPORT)
    with pytest.raises(IntegrityError, match="run_one_at_a_time"), transaction.atomic():
        ask_about(program, "import 1", RunKind.IMPORT)


def test_one_fit_waits_while_another_is_made(program):
    first = enqueue_unless_queued(RunKind.FIT, program.pk, subject="fits")
    assert enqueue_unless_queued(RunKind.FIT, program.pk, subject="fits").pk == first.pk
    begin(first.pk, 1)
    second = enqueue_unless_queued(RunKind.FIT, program.pk, subject="fits")
    assert second.pk != first.pk
    with pytest.raises(IntegrityError, match="run_one_fit_queued"), transaction.atomic():
        ask_about(program, "fits", RunKind.FIT)


def test_another_is_due_once_its_pause_is_over(program):
    first = begin(enqueue_unless_queued(RunKind.FIT, program.pk, subject="fits").pk, 1)
    assert not another_is_due(first)
    second = enqueue_unless_queued(RunKind.FIT, program.pk, subject="fits", after_s=600)
    assert not another_is_due(first)
    with connection.cursor() as cursor:
        cursor.execute(
            "UPDATE procrastinate_jobs SET scheduled_at = %s WHERE id = %s",
            [timezone.now(), second.job_id],
        )
    assert another_is_due(first)


def test_only_the_latest_attempt_ends_a_run(program):
    """A worker that was thought dead comes back after another has taken its run up."""
    run = ask_about(program, kind=RunKind.POWER)
    first, second = begin(run.pk, 1), begin(run.pk, 2)
    with pytest.raises(RunOverError, match="another worker took over"):
        finish(first, {"by": "first"})
    fail(first, "It broke off.")
    note(first, {"by": "first"})
    assert (again(run).state, again(run).result) == (RunState.RUNNING, None)
    finish(second, {"by": "second"})
    assert (again(run).state, again(run).result) == (RunState.DONE, {"by": "second"})
    with pytest.raises(RunOverError):
        finish(second, {"by": "second again"})
    fail(second, "Too late.")
    assert (again(run).state, again(run).problem) == (RunState.DONE, "")


@pytest.mark.django_db(transaction=True)
def test_progress_is_seen_before_the_transaction_ends_and_only_of_the_latest_attempt(program):
    run = ask_about(program, kind=RunKind.POWER)
    first = begin(run.pk, 1)
    with Progress(first) as report:
        with transaction.atomic():
            program.name = "Within a transaction"
            program.save()
            report("Simulating", 3, 8)
            assert (again(run).step, again(run).done, again(run).total) == ("Simulating", 3, 8)
            transaction.set_rollback(True)
        assert again(run).done == 3
        report("Simulating", 4, 8)
        assert again(run).done == 3, "Reports of the same step follow each other slowly."
        begin(run.pk, 2)
        report("Something else", 5, 8)
        assert (again(run).step, again(run).done) == ("", 0)
        report("x" * 500, 1, 1)


def test_a_run_that_is_over_does_not_begin(program):
    run = ask_about(program)
    fail(run, "It ended.")
    assert begin(run.pk, 1) is None
    assert begin(run.pk + 1, 1) is None
    assert again(run).state == RunState.FAILED


def test_what_breaks_every_worker_is_given_up(program):
    run = ask_about(program, kind=RunKind.POWER)
    assert begin(run.pk, MOST_ATTEMPTS) is not None
    assert begin(run.pk, MOST_ATTEMPTS + 1) is None
    assert again(run).state == RunState.FAILED
    assert f"Its worker ended {MOST_ATTEMPTS} times" in again(run).problem
    assert str(FACTS[RunKind.POWER].nothing_done) in again(run).problem


def carry_out(run, work, attempt=1, refusals=()):
    _carry_out(begin(run.pk, attempt), work, refusals)


def test_a_refusal_is_told_and_not_tried_again(program):
    def refuse(run, report):
        raise LookupError("Nothing is there.")

    run = ask_about(program, kind=RunKind.POWER)
    carry_out(run, refuse, refusals=(LookupError,))
    assert (again(run).state, again(run).problem) == (RunState.REFUSED, "Nothing is there.")


def test_who_lost_the_right_is_told_so(program):
    def refuse(run, report):
        raise PermissionDenied

    run = ask_about(program, kind=RunKind.POWER)
    carry_out(run, refuse)
    assert again(run).state == RunState.REFUSED
    assert "no longer coordinates" in again(run).problem


def test_an_end_that_came_too_late_is_no_failure(program):
    def late(run, report):
        fail(again(run), "Given up.")
        finish(run)

    run = ask_about(program, kind=RunKind.POWER)
    carry_out(run, late)
    assert (again(run).state, again(run).problem) == (RunState.FAILED, "Given up.")


def test_an_attempt_that_was_taken_up_ends_neither_run_nor_job(program, monkeypatch):
    """What was thought dead breaks off since its successor tidied up, or is done too late. It
    returns once the successor is done: until then it would end the job of both."""
    slept = []

    def end_successor(seconds):
        slept.append(seconds)
        assert again(run).state == RunState.RUNNING
        if len(slept) % 2 == 0:
            finish(again(run))

    def late(first, report):
        begin(first.pk, 2)
        if number:
            raise FileNotFoundError("Its folder is gone.")
        finish(first)

    monkeypatch.setattr(work_module.time, "sleep", end_successor)
    for number in range(2):
        run = ask_about(program, subject=f"power study {number}", kind=RunKind.POWER)
        first = begin(run.pk, 1)
        _carry_out(first, late, ())
        assert again(run).state == RunState.RUNNING
        _leave_job_to_successor(first)
        assert (again(run).state, len(slept)) == (RunState.DONE, 2 * number + 2)


@pytest.mark.parametrize("kind", RunKind)
def test_a_database_that_is_away_costs_no_try(program, kind):
    def break_off(run, report):
        raise OperationalError("server closed the connection") from psycopg.OperationalError()

    run = ask_about(program, kind=kind)
    for attempt in range(1, MOST_ATTEMPTS + 1):
        with pytest.raises(OperationalError) as raised:
            carry_out(run, break_off, attempt)
        is_last = attempt == MOST_ATTEMPTS
        assert again(run).state == (RunState.FAILED if is_last else RunState.QUEUED)
        job = SimpleNamespace(attempts=attempt - 1)
        decision = task_of(kind).retry_strategy.get_retry_decision(exception=raised.value, job=job)
        assert bool(decision) != is_last


@pytest.mark.parametrize("kind", RunKind)
def test_what_breaks_off_is_tried_as_often_as_its_kind_says(program, kind):
    def break_off(run, report):
        raise OSError("No answer")

    run, tries = ask_about(program, kind=kind), FACTS[kind].tries
    for attempt in range(1, tries + 1):
        with pytest.raises(OSError, match="No answer"):
            carry_out(run, break_off, attempt)
        assert again(run).state == (RunState.QUEUED if attempt < tries else RunState.FAILED)
    assert again(run).problem.startswith("It stopped")
    assert str(FACTS[kind].nothing_done) in again(run).problem
    strategy = task_of(kind).retry_strategy
    for attempts in range(tries):
        job = SimpleNamespace(attempts=attempts)
        decision = strategy.get_retry_decision(exception=OSError(), job=job)
        assert bool(decision) == (attempts + 1 < tries)


def test_a_run_whose_job_is_gone_is_given_up(program):
    lost, kept = ask_about(program), ask_about(program, "publication 2023")
    begun = ask_about(program, "power study 1", RunKind.POWER)
    begin(begun.pk, 1)
    with connection.cursor() as cursor:
        cursor.execute(
            "DELETE FROM procrastinate_jobs WHERE id = ANY(%s)", [[lost.job_id, begun.job_id]]
        )
    assert current_run(program.pk, lost.subject) is None
    assert latest_run(program.pk, lost.subject).state == RunState.FAILED
    assert "The work stopped" in again(lost).problem
    assert again(begun).state == RunState.RUNNING
    assert give_up_lost() == 1
    assert again(begun).state == RunState.FAILED
    assert again(kept).state == RunState.QUEUED
    assert current_run(program.pk, kept.subject) == kept


def test_a_lost_fit_does_not_keep_the_next_from_being_asked_for(program):
    lost = enqueue_unless_queued(RunKind.FIT, program.pk, subject="fits")
    forget_jobs()
    assert enqueue_unless_queued(RunKind.FIT, program.pk, subject="fits").pk != lost.pk


@pytest.mark.parametrize(
    ("status", "silent_for", "taken_up"),
    [
        ("doing", "25 seconds", False),
        ("doing", "31 seconds", True),
        ("doing", None, True),
        ("doing", "-25 seconds", False),
        ("doing", "-1 day", True),
        ("succeeded", "1 hour", False),
        ("failed", "1 hour", False),
    ],
)
def test_only_jobs_of_silent_workers_are_given_away(program, status, silent_for, taken_up):
    """`None`: the worker is not even listed any more; less than 0: it died while the clock was
    ahead."""
    run = ask_about(program)
    with connection.cursor() as cursor:
        cursor.execute(
            "INSERT INTO procrastinate_workers (last_heartbeat) "
            "VALUES (statement_timestamp() - %s::interval) RETURNING id",
            [silent_for or "0"],
        )
        worker = cursor.fetchone()[0] if silent_for else None
        cursor.execute(
            "UPDATE procrastinate_jobs SET status = %s, worker_id = %s WHERE id = %s",
            [status, worker, run.job_id],
        )
    seen = silent_workers()
    assert [job.pk for job in put_back_stalled(seen)] == ([run.job_id] if taken_up else [])
    assert ProcrastinateJob.objects.get(pk=run.job_id).scheduled_at is None
    assert job_of(run).status == ("todo" if taken_up else status)
    assert put_back_stalled(silent_workers()) == []


@pytest.mark.parametrize("silent_for", ["1 day", "-1 day"])
@pytest.mark.parametrize("alive", [True, False])
def test_a_clock_that_jumped_takes_no_job_from_a_living_worker(program, silent_for, alive):
    """All look dead until their next sign of life, for which the second look waits."""
    run = ask_about(program)
    worker = doing_job_of_worker(run, silent_for)
    assert silent_workers() != {}
    take_up_stalled(timestamp=0)
    # A minute later the first second look may still wait.
    take_up_stalled(timestamp=60)
    looking = ProcrastinateJob.objects.get(task_name="runs.take_up_silent")
    assert looking.scheduled_at - timezone.now() > dt.timedelta(seconds=HEARTBEAT_EVERY_S)
    if alive:
        with connection.cursor() as cursor:
            cursor.execute("SELECT procrastinate_update_heartbeat_v1(%s)", [worker])
    take_up_silent(**looking.args)
    assert job_of(run).status == ("doing" if alive else "todo")


def doing_job_of_worker(run, silent_for):
    """The job of a run is in hand of a worker that was silent for so long."""
    with connection.cursor() as cursor:
        cursor.execute(
            "INSERT INTO procrastinate_workers (last_heartbeat) "
            "VALUES (statement_timestamp() - %s::interval) RETURNING id",
            [silent_for],
        )
        worker = cursor.fetchone()[0]
        cursor.execute(
            "UPDATE procrastinate_jobs SET status = 'doing', worker_id = %s WHERE id = %s",
            [worker, run.job_id],
        )
    return worker


def test_a_task_of_every_minute_keeps_no_other_job_from_being_taken_up(program):
    """Two dead workers had one each, and the next one waits: only one may."""
    run, lock = ask_about(program), "comparing waiting visits"
    with connection.cursor() as cursor:
        cursor.execute(
            "INSERT INTO procrastinate_jobs (queue_name, task_name, status, queueing_lock) VALUES "
            "('short', 'minute', 'doing', %(lock)s), ('short', 'minute', 'doing', %(lock)s), "
            "('short', 'minute', 'todo', %(lock)s), ('short', 'alone', 'doing', 'another lock')",
            {"lock": lock},
        )
        cursor.execute("UPDATE procrastinate_jobs SET status = 'doing' WHERE id = %s", [run.job_id])
    assert len(put_back_stalled({})) == 4
    waiting = ProcrastinateJob.objects.filter(queueing_lock__isnull=False)
    assert sorted(waiting.values_list("task_name", "status")) == [
        ("alone", "todo"),
        ("minute", "todo"),
    ]
    assert job_of(run).status == "todo"
    assert put_back_stalled({}) == []


def test_mail_of_a_killed_worker_is_sent_by_the_next_one(coordinator):
    invite(coordinator, email="new@example.org", name="Nell", role="observer", site_url="")
    job = ProcrastinateJob.objects.get(task_name="accounts.send_invitation")
    with connection.cursor() as cursor:
        cursor.execute("UPDATE procrastinate_jobs SET status = 'doing' WHERE id = %s", [job.pk])
    assert [job.pk for job in put_back_stalled({})] == [job.pk]


def test_every_minute_lost_runs_end(program):
    lost = ask_about(program)
    forget_jobs()
    take_up_stalled(timestamp=0)
    assert again(lost).state == RunState.FAILED


@pytest.mark.django_db(transaction=True)
def test_every_night_old_ends_are_forgotten(program):
    now = timezone.now()
    old, young, waiting = (ask_about(program, f"publication {year}") for year in (1, 2, 3))
    for run, age in ((old, tasks.KEEP_RUNS), (young, tasks.KEEP_RUNS - dt.timedelta(hours=1))):
        fail(run, "It ended.")
        BackgroundRun.objects.filter(pk=run.pk).update(finished_at=now - age)
    BackgroundRun.objects.filter(pk=waiting.pk).update(asked_at=now - 2 * tasks.KEEP_RUNS)
    with connection.cursor() as cursor:
        for run, age in ((old, "8 days"), (young, "6 days"), (waiting, "8 days")):
            status = "doing" if run == waiting else "succeeded"
            cursor.execute(
                "UPDATE procrastinate_jobs SET status = %s WHERE id = %s", [status, run.job_id]
            )
            cursor.execute(
                "UPDATE procrastinate_events SET at = now() - %s::interval WHERE job_id = %s",
                [age, run.job_id],
            )
    end_letter("31 days")
    recent = end_letter("29 days")
    async_to_sync(clean_now)()
    assert set(BackgroundRun.objects.all()) == {young, waiting}
    kept = set(ProcrastinateJob.objects.values_list("pk", flat=True))
    assert kept == {young.job_id, waiting.job_id, recent}


def end_letter(age: str) -> int:
    """A letter that failed so long ago."""
    job = send_letter.defer(sealed="x")
    with connection.cursor() as cursor:
        for status in ("doing", "failed"):
            cursor.execute("UPDATE procrastinate_jobs SET status = %s WHERE id = %s", [status, job])
        cursor.execute(
            "UPDATE procrastinate_events SET at = now() - %s::interval WHERE job_id = %s",
            [age, job],
        )
    return job


async def clean_now():
    app = tasks.app.with_connector(tasks.app.connector.get_worker_connector())
    async with app.open_async():
        await clean_up(SimpleNamespace(app=app), timestamp=0)


def test_every_kind_is_carried_out_in_a_module_of_the_import_paths():
    assert {task_name(kind) for kind in RunKind} - app.tasks.keys() == set()
