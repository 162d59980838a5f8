"""Mail to operators: each problem once, and once when it is mended."""

import datetime as dt
import json

import pytest
from django.core import mail
from django.core.management import call_command
from django.db import OperationalError, connection
from django.utils import timezone
from procrastinate.contrib.django import app
from procrastinate.contrib.django.models import ProcrastinateJob

import accounts.mailing  # noqa: F401 - its tasks
from accounts.invitations import invite
from accounts.models import Role
from accounts.security_log import Act
from surveys.models import BackgroundRun, OperationKind, OperationRecord, RunState, WorkerHeartbeat
from surveys.operations import alerts
from surveys.operations.alerts import look
from surveys.operations.failures import failed_jobs, try_again
from surveys.operations.problems import problems, site_problems
from surveys.operations.queue_state import queue_states
from surveys.operations.records import record_operation
from tests.support.builders import make_member, make_program
from tests.support.runs import make_publishing_run

pytestmark = pytest.mark.django_db
OPS = "ops@example.org"
HOUR = dt.timedelta(hours=1)


@pytest.fixture
def file(all_is_well, tmp_path):
    return tmp_path / "state" / "alerts.json"


def letters(file) -> list[tuple[str, str, str]]:
    """What one look mails: to whom, subject, text."""
    mail.outbox.clear()
    look(file)
    return [(letter.to[0], letter.subject, letter.body) for letter in mail.outbox]


def end_job(task: str, status: str = "failed", **args) -> ProcrastinateJob:
    """A job of a task that ended so; without arguments, the one that waits."""
    if args:
        job = app.tasks[task].defer(**args)
    else:
        job = ProcrastinateJob.objects.get(task_name=task, status="todo").pk
    with connection.cursor() as cursor:
        for state in ("doing", status):
            cursor.execute("UPDATE procrastinate_jobs SET status = %s WHERE id = %s", [state, job])
    return ProcrastinateJob.objects.get(pk=job)


def test_nothing_is_mailed_while_all_is_well(file):
    assert letters(file) == []


def test_passwords_tried_at_many_accounts_are_told(file, program):
    """One account, however often, is the affair of its owner."""

    def fail_to_sign_in(member, act):
        with connection.cursor() as cursor:
            note = "SELECT accounts_note_act_of_person(%s, %s, '', '')"
            cursor.execute(note, [member.person_id, act])

    members = [make_member(program) for _ in range(10)]
    for member in [*members[:-1], *members[:-1]]:
        fail_to_sign_in(member, Act.WRONG_PASSWORD)
    fail_to_sign_in(members[-1], Act.SIGNED_IN)
    assert letters(file) == []
    fail_to_sign_in(members[-1], Act.WRONG_STEP)
    ((to, _, text),) = letters(file)
    assert to == OPS
    assert "Sign-ins failed at 10 accounts within the last hour" in text
    assert "Sign-ins" not in " ".join(problem.words for problem in site_problems())


def test_a_problem_is_told_once_and_its_end_once(file):
    WorkerHeartbeat.objects.filter(name="fits").delete()
    ((to, subject, text),) = letters(file)
    assert (to, subject) == (OPS, "Duskpool: 1 problem")
    assert "The worker “fits” is not running" in text
    assert letters(file) == []
    WorkerHeartbeat.objects.filter(name="quick").delete()
    ((_, subject, text),) = letters(file)
    assert subject == "Duskpool: 1 problem"
    assert "quick" in text
    assert "fits" not in text
    for name in ("fits", "quick"):
        WorkerHeartbeat.objects.create(name=name, host="here", pid=2)
    ((_, subject, text),) = letters(file)
    assert subject == "Duskpool: No longer a problem"
    assert "fits" in text
    assert "quick" in text
    assert letters(file) == []
    WorkerHeartbeat.objects.filter(name="fits").delete()
    assert len(letters(file)) == 1


def test_a_letter_that_cannot_be_sent_is_sent_at_the_next_look(file, monkeypatch):
    WorkerHeartbeat.objects.filter(name="fits").delete()

    def refuse(*_):
        raise ConnectionRefusedError

    with monkeypatch.context() as away:
        away.setattr(alerts, "send_mail", refuse)
        assert letters(file) == []
    assert len(letters(file)) == 1


def test_a_database_that_is_away_is_told_and_forgets_nothing(file, monkeypatch):
    WorkerHeartbeat.objects.filter(name="fits").delete()
    letters(file)

    def away():
        raise OperationalError

    with monkeypatch.context() as patch:
        patch.setattr(alerts, "problems", away)
        patch.setattr(alerts.connection, "close", lambda: None)
        ((_, subject, text),) = letters(file)
        assert subject == "Duskpool: 1 problem"
        assert "The database does not answer" in text
        assert letters(file) == []
    ((_, subject, text),) = letters(file)
    assert subject == "Duskpool: No longer a problem"
    assert "database" in text
    assert "fits" not in text


def test_a_file_that_was_cut_short_is_no_obstacle(file):
    WorkerHeartbeat.objects.filter(name="fits").delete()
    letters(file)
    file.write_text('{"ops@exam')
    assert len(letters(file)) == 1
    assert json.loads(file.read_text())[OPS].keys() == {"worker fits"}


@pytest.mark.parametrize(("age", "is_told"), [(25, False), (27, True)])
def test_a_backup_that_is_too_old_is_told(all_is_well, settings, age, is_told):
    settings.BACKUP_HOURS = 26
    record_operation(OperationKind.BACKUP, ok=True)
    OperationRecord.objects.update(at=timezone.now() - age * HOUR)
    told = [problem.words for problem in site_problems()]
    assert told == ([f"Backup: the last successful one is {age} hours old."] if is_told else [])


def test_no_backup_at_all_is_told_and_so_is_one_that_failed(all_is_well, settings):
    settings.BACKUP_HOURS = 26
    assert [problem.words for problem in site_problems()] == ["Backup: none yet."]
    record_operation(OperationKind.BACKUP, ok=True)
    record_operation(OperationKind.BACKUP, ok=False, detail="The disk is full.")
    told = [problem.words for problem in site_problems()]
    assert told == ["Backup: the latest one failed. The disk is full."]


@pytest.mark.parametrize(("age", "is_told"), [(34, False), (36, True)])
def test_a_drill_that_is_too_old_is_told(all_is_well, age, is_told):
    record_operation(OperationKind.RESTORE_DRILL, ok=True)
    OperationRecord.objects.update(at=timezone.now() - 24 * age * HOUR)
    assert bool(list(site_problems())) is is_told


@pytest.mark.parametrize(("least", "is_told"), [(0, False), (101, True)])
def test_a_disk_that_is_nearly_full_is_told(all_is_well, settings, least, is_told):
    settings.LEAST_DISK_PERCENT = least
    assert [problem.key for problem in problems()] == (["disk"] if is_told else [])


def test_mail_that_failed_is_told_to_operators_and_to_whoever_asked_for_it(file):
    coordinator = make_member(make_program(), Role.COORDINATOR)
    make_member(coordinator.program, Role.COORDINATOR)
    invite(coordinator, email="nell@example.org", name="Nell", role="observer", site_url="")
    end_job("accounts.send_invitation")
    told = letters(file)
    assert {to for to, *_ in told} == {OPS, coordinator.person.email}
    assert all("Email was not sent: Invitation to nell@example.org." in text for *_, text in told)
    assert letters(file) == []
    assert try_again(failed_jobs(coordinator.program)) == 1
    assert [(to, subject) for to, subject, _ in letters(file)] == [
        (OPS, "Duskpool: No longer a problem")
    ]
    job = ProcrastinateJob.objects.get(task_name="accounts.send_invitation")
    assert job.status == "todo"


def test_mail_of_another_program_is_nobody_elses(all_is_well):
    coordinator = make_member(make_program(), Role.COORDINATOR)
    invite(coordinator, email="nell@example.org", name="Nell", role="observer", site_url="")
    end_job("accounts.send_invitation")
    assert len(failed_jobs(coordinator.program)) == 1
    assert failed_jobs(make_program()) == []


def test_letters_about_accounts_are_for_operators_alone(all_is_well):
    end_job("accounts.send_letter", sealed="x")
    (problem,) = problems()
    assert problem.tell is None
    assert problem.words == "Email was not sent: A letter about an account."


def test_a_failure_that_was_made_up_for_is_no_problem(all_is_well):
    end_job("accounts.send_letter", sealed="x")
    assert len(problems()) == 1
    end_job("accounts.send_letter", "succeeded", sealed="another")
    assert len(problems()) == 1
    end_job("accounts.send_letter", "succeeded", sealed="x")
    assert problems() == []


def test_a_run_that_failed_is_told_until_it_was_done(all_is_well):
    coordinator = make_member(make_program(), Role.COORDINATOR)
    program, person = coordinator.program, coordinator.person
    make_publishing_run(program, 2024, person, state=RunState.FAILED, problem="It stopped.")
    (problem,) = problems()
    assert problem.words == f"{program.name}, Publication: It stopped."
    make_publishing_run(program, 2023, person, state=RunState.DONE, result={"version": 1})
    assert len(problems()) == 1
    make_publishing_run(program, 2024, person, state=RunState.DONE, result={"version": 1})
    assert problems() == []


def test_old_failures_are_forgotten(all_is_well):
    coordinator = make_member(make_program(), Role.COORDINATOR)
    make_publishing_run(
        coordinator.program, 2024, coordinator.person, state=RunState.FAILED, problem="It stopped."
    )
    end_job("accounts.send_letter", sealed="x")
    assert len(problems()) == 2
    assert sum(queue.failed for queue in queue_states()) == 1
    BackgroundRun.objects.update(finished_at=timezone.now() - 8 * 24 * HOUR)
    with connection.cursor() as cursor:
        cursor.execute("UPDATE procrastinate_events SET at = now() - interval '8 days'")
    assert problems() == []
    assert sum(queue.failed for queue in queue_states()) == 0


def test_the_command_looks_once(file, settings, capsys):
    settings.ALERTS_FILE = file
    WorkerHeartbeat.objects.filter(name="fits").delete()
    call_command("watch_operations")
    assert capsys.readouterr().out == f"Mailed {OPS}.\n"
