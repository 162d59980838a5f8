"""/healthz, /readyz and /metrics: each check fails when it should; figures need a token."""

import datetime as dt
import shutil

import pytest
from django.db import connection
from django.db.migrations.recorder import MigrationRecorder
from django.test import Client
from django.utils import timezone
from prometheus_client.parser import text_string_to_metric_families

from accounts.mailing import send_letter
from surveys.models import OperationKind, WorkerHeartbeat
from surveys.operations.heartbeats import SILENT
from surveys.operations.queue_state import queue_states
from surveys.operations.readiness import missing_migrations, readiness
from surveys.operations.records import record_operation
from surveys.runs.queues import FITS, LONG, MAIL, PATIENCE, WORKERS

SECOND = dt.timedelta(seconds=1)


def failing() -> set[str]:
    return {name for name, is_fine in readiness().items() if not is_fine}


def make_job(queue: str, *, begun: bool = False, **ages: dt.timedelta) -> int:
    """A job whose events happened as long ago as `ages` say."""
    job = send_letter.configure(queue=queue).defer(sealed="x")
    with connection.cursor() as cursor:
        if begun:
            cursor.execute("UPDATE procrastinate_jobs SET status = 'doing' WHERE id = %s", [job])
        for event, age in ages.items():
            cursor.execute(
                "UPDATE procrastinate_events SET at = now() - %s "
                "WHERE job_id = %s AND type::text = %s",
                [age, job, event],
            )
    return job


# --- healthz ------------------------------------------------------------------


def test_healthz_asks_nothing_of_the_database_and_takes_any_name(settings):
    """No `django_db` mark: a query would fail."""
    settings.ALLOWED_HOSTS = ["surveys.example.org"]
    settings.SECURE_SSL_REDIRECT = True
    answer = Client().get("/healthz", headers={"Host": "10.1.2.3:8000"})
    assert (answer.status_code, answer.content) == (200, b"ok\n")
    assert Client().get("/guide/", headers={"Host": "10.1.2.3:8000"}).status_code == 400


# --- readyz -------------------------------------------------------------------


@pytest.mark.django_db
def test_readyz_is_fine_when_all_is_well(all_is_well):
    answer = Client().get("/readyz", headers={"Host": "10.1.2.3"})
    assert answer.status_code == 200
    assert set(answer.json().values()) == {"ok"}


@pytest.mark.django_db
@pytest.mark.parametrize("name", WORKERS)
def test_a_worker_that_falls_silent_is_noticed(all_is_well, name):
    heard = WorkerHeartbeat.objects.filter(name=name)
    heard.update(seen_at=timezone.now() - SILENT + 5 * SECOND)
    assert failing() == set()
    heard.update(seen_at=timezone.now() - SILENT - SECOND)
    assert failing() == {"workers"}
    answer = Client().get("/readyz")
    assert (answer.status_code, answer.json()["workers"]) == (503, "failed")
    assert str(name) not in answer.content.decode()


@pytest.mark.django_db
def test_a_migration_that_is_missing_is_noticed(all_is_well):
    MigrationRecorder(connection).record_unapplied("surveys", "0018_operation_records")
    assert missing_migrations() == ["surveys.0018_operation_records"]
    assert failing() == {"migrations"}


@pytest.mark.django_db
def test_files_that_cannot_be_stored_are_noticed(all_is_well, settings):
    shutil.rmtree(settings.MEDIA_ROOT)
    assert failing() == {"media"}


@pytest.mark.django_db
@pytest.mark.parametrize("queue", [MAIL, FITS, LONG])
def test_a_queue_that_is_stuck_is_noticed(all_is_well, queue):
    job = make_job(queue, deferred=PATIENCE[queue] - SECOND)
    assert failing() == set()
    with connection.cursor() as cursor:
        cursor.execute("UPDATE procrastinate_events SET at = at - interval '2 s'")
    assert failing() == {"queues"}
    # It is to be tried again later, and not due until then.
    with connection.cursor() as cursor:
        cursor.execute(
            "UPDATE procrastinate_jobs SET scheduled_at = now() + interval '1 s' WHERE id = %s",
            [job],
        )
    assert failing() == set()


@pytest.mark.django_db
def test_a_job_that_is_at_work_for_too_long_is_noticed(all_is_well):
    make_job(MAIL, begun=True, started=PATIENCE[MAIL] - SECOND, deferred=dt.timedelta(hours=9))
    assert failing() == set()
    make_job(MAIL, begun=True, started=PATIENCE[MAIL] + SECOND)
    assert failing() == {"queues"}
    (mail,) = [queue for queue in queue_states() if queue.name == MAIL]
    assert (mail.at_work, mail.waiting) == (2, 0)


@pytest.mark.django_db(transaction=True)
def test_without_a_database_readyz_still_answers(settings, tmp_path, monkeypatch):
    settings.MEDIA_ROOT = tmp_path
    connection.close()
    with monkeypatch.context() as away:
        away.setitem(connection.settings_dict, "HOST", str(tmp_path))
        assert failing() == {"database", "migrations", "workers", "queues"}
        assert Client().get("/readyz").status_code == 503
    connection.close()


# --- metrics ------------------------------------------------------------------


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("token", "sent"),
    [("", ""), ("", "Bearer "), ("right", ""), ("right", "Bearer wrong"), ("right", "right")],
)
def test_metrics_are_closed(all_is_well, settings, token, sent):
    settings.METRICS_TOKEN = token
    assert Client().get("/metrics", headers={"Authorization": sent}).status_code == 404


@pytest.mark.django_db
def test_metrics_are_read_by_prometheus_own_parser(all_is_well, settings):
    """Text format 0.0.4, read by prometheus_client.parser; names and units as in the Prometheus
    documentation, “Metric and label naming”: one prefix, base units, a help text each."""
    settings.METRICS_TOKEN = "right"
    make_job(MAIL, deferred=dt.timedelta(seconds=90))
    record_operation(OperationKind.BACKUP, ok=True)
    record_operation(OperationKind.BACKUP, ok=False)
    Client().generic("BREW", "/no/such/page")
    answer = Client().get("/metrics", headers={"Authorization": "Bearer right"})
    assert answer["Content-Type"].startswith("text/plain; version=")
    families = list(text_string_to_metric_families(answer.content.decode()))
    for family in families:
        assert family.name.startswith("duskpool_")
        assert family.documentation
        assert family.type in ("gauge", "counter", "histogram")
        assert not family.name.endswith(("_ms", "_mb", "_minutes", "_hours"))
    values = {
        (sample.name.removeprefix("duskpool_"), *sample.labels.values()): sample.value
        for family in families
        for sample in family.samples
    }
    assert values["queue_waiting_jobs", "mail"] == 1
    assert 90 <= values["queue_oldest_job_seconds", "mail"] < 600
    assert values["worker_up", "fits"] == 1
    assert values["ready", "database"] == 1
    assert values["operation_ok", "backup"] == 0
    assert values["operation_success_timestamp_seconds", "backup"] > 1.7e9
    assert 0 < values["media_free_bytes",] < values["media_size_bytes",]
    assert values["database_size_bytes",] > 1e6
    assert values["requests_total", "other", "404"] >= 1
    assert values["request_seconds_count",] >= 1
