"""Run one worker process. `run_workers` starts one for each name and starts it again."""

import asyncio
import contextlib
import datetime as dt
import logging
from argparse import ArgumentParser
from collections.abc import Coroutine
from typing import Any

from django.core.management.base import BaseCommand
from django.db import connection
from procrastinate.contrib.django import app

from surveys.operations.heartbeats import beating
from surveys.runs import clock
from surveys.runs.mail_ids import with_ids_of_the_job
from surveys.runs.queues import SHORT, WORKERS

# When a worker that begins forgets others that are silent. Whose jobs go to the next worker is for
# `take_up_stalled` to say: a clock that is a day ahead for a while makes all of them look silent.
FORGET_WORKERS = dt.timedelta(days=30)

log = logging.getLogger(__name__)


class Command(BaseCommand):
    help = "Work off the queues of one worker. Use run_workers, which starts all of them."

    # run_workers has made them.
    requires_system_checks = ()

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("name", choices=sorted(WORKERS))

    def handle(self, *args: Any, **options: Any) -> None:
        if SHORT in WORKERS[options["name"]].queues:
            clock.forget_wrong_moments()
            connection.close()
        with app.replace_connector(app.connector.get_worker_connector()):
            asyncio.run(_work(options["name"]))


async def _work(name: str) -> None:
    facts = WORKERS[name]
    async with app.open_async(), contextlib.AsyncExitStack() as stack:
        await stack.enter_async_context(beating(app.connector, name))
        working = app.run_worker_async(
            name=name,
            queues=list(facts.queues),
            concurrency=facts.concurrency,
            stalled_worker_timeout=FORGET_WORKERS.total_seconds(),
            # Those of the queue library close connections that the database has ended.
            task_middleware=[*app.worker_defaults["task_middleware"], with_ids_of_the_job],
        )
        if SHORT in facts.queues:
            await _until_the_clock_jumps(working)
        else:
            await working


async def _until_the_clock_jumps(working: Coroutine[Any, Any, None]) -> None:
    """What queues the tasks of every minute takes a jump back for a minute that it has seen, and
    would be silent until then. It begins anew, once its own jobs are done."""
    worker = asyncio.create_task(working)
    watch = asyncio.create_task(clock.jump())
    await asyncio.wait({worker, watch}, return_when=asyncio.FIRST_COMPLETED)
    if worker.done():
        watch.cancel()
    else:
        log.warning("The clock jumped by %.0f s. This worker begins anew.", await watch)
        worker.cancel()
    with contextlib.suppress(asyncio.CancelledError):
        await worker
