"""Workers say every ten seconds that they are alive, and for which queues.

The heartbeat runs in the event loop of the worker, over its own pool of connections: a loop that
hangs, or has lost the database, falls silent.
"""

from __future__ import annotations

import asyncio
import contextlib
import datetime as dt
import logging
import os
import socket
from collections.abc import AsyncIterator

from django.db.models import Max
from django.db.models.functions import Now
from procrastinate.connector import BaseAsyncConnector
from procrastinate.exceptions import ConnectorException

from surveys.models import WorkerHeartbeat
from surveys.runs.queues import WORKERS

log = logging.getLogger(__name__)

EVERY_S = 10.0
SILENT = dt.timedelta(seconds=35)

_BEGIN = """
WITH gone AS (DELETE FROM surveys_workerheartbeat WHERE seen_at < now() - interval '1 day')
INSERT INTO surveys_workerheartbeat (name, host, pid) VALUES (%(name)s, %(host)s, %(pid)s)
RETURNING id
"""
_GO_ON = "UPDATE surveys_workerheartbeat SET seen_at = now() WHERE id = %(id)s"
_END = "DELETE FROM surveys_workerheartbeat WHERE id = %(id)s"


@contextlib.asynccontextmanager
async def beating(
    connector: BaseAsyncConnector, name: str, every_s: float = EVERY_S
) -> AsyncIterator[None]:
    """Keep the heartbeat of a worker while the block runs."""
    row = await connector.execute_query_one_async(
        _BEGIN, name=name, host=socket.gethostname(), pid=os.getpid()
    )
    task = asyncio.create_task(_keep_beating(connector, row["id"], every_s))
    try:
        yield
    finally:
        task.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            await task
        with contextlib.suppress(ConnectorException):
            await connector.execute_query_async(_END, id=row["id"])


async def _keep_beating(connector: BaseAsyncConnector, row: int, every_s: float) -> None:
    while True:
        await asyncio.sleep(every_s)
        try:
            await connector.execute_query_async(_GO_ON, id=row)
        except ConnectorException as error:
            # The worker itself ends if the database stays away, and is started again.
            log.warning("The heartbeat could not be written: %s", error)


def last_seen() -> dict[str, dt.datetime | None]:
    """When each worker was last heard of; None for never, or since it was stopped."""
    seen = dict(WorkerHeartbeat.objects.values_list("name").annotate(Max("seen_at")))
    return {name: seen.get(name) for name in WORKERS}


def silent_workers() -> list[str]:
    """Names of workers of which no process has been heard lately, by the database's clock."""
    # One that has yet to come was written while the clock was ahead.
    alive = WorkerHeartbeat.objects.filter(seen_at__range=(Now() - SILENT, Now() + SILENT))
    names = set(alive.values_list("name", flat=True))
    return [name for name in WORKERS if name not in names]
