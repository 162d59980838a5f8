"""A worker says that it is alive, and which queues it serves; when it ends, it says so."""

import asyncio
import contextlib
import datetime as dt
import logging

import pytest
from django.utils import timezone
from procrastinate.contrib.django import app

from surveys.models import WorkerHeartbeat
from surveys.operations.heartbeats import EVERY_S, SILENT, beating, silent_workers
from surveys.runs.queues import WORKERS

pytestmark = pytest.mark.django_db(transaction=True)


def test_a_heartbeat_goes_on_through_a_failure_and_ends_with_its_worker(monkeypatch, caplog):
    async def live() -> list:
        with app.replace_connector(app.connector.get_worker_connector()):
            async with app.open_async():
                async with beating(app.connector, "fits", every_s=0.02):
                    seen = [await read()]
                    await asyncio.sleep(0.2)
                    seen.append(await read())
                    with monkeypatch.context() as away:
                        away.setattr("surveys.operations.heartbeats._GO_ON", "SELECT nothing")
                        await asyncio.sleep(0.1)
                    seen.append(await read())
                    await asyncio.sleep(0.2)
                    seen.append(await read())
                return [*seen, await read()]

    async def read():
        found = await WorkerHeartbeat.objects.afirst()
        return found and (found.name, found.seen_at)

    with caplog.at_level(logging.ERROR), contextlib.suppress(KeyError):
        first, later, failed, mended, after = asyncio.run(live())
    assert first[0] == "fits"
    assert first[1] < later[1]
    assert failed[1] < mended[1]
    assert after is None


def test_a_worker_is_missed_within_a_minute_and_not_for_one_late_heartbeat():
    assert 2 * EVERY_S < SILENT.total_seconds() <= 60


def test_workers_that_never_ran_are_silent():
    assert silent_workers() == list(WORKERS)
    WorkerHeartbeat.objects.create(name="long", host="here", pid=1)
    assert silent_workers() == [name for name in WORKERS if name != "long"]
    # It died while the clock was a day ahead.
    WorkerHeartbeat.objects.update(seen_at=timezone.now() + dt.timedelta(days=1))
    assert silent_workers() == list(WORKERS)
