"""Run one worker process. `run_workers` starts one for each name and starts it again."""

import asyncio
import contextlib
from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand
from procrastinate.contrib.django import app

from surveys.operations.heartbeats import beating
from surveys.runs.queues import WORKERS


class Command(BaseCommand):
    help = "Work off the queues of one worker. Use run_workers, which starts all of them."

    # run_workers has made them.
    requires_system_checks = ()

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("name", choices=sorted(WORKERS))

    def handle(self, *args: Any, **options: Any) -> None:
        with app.replace_connector(app.connector.get_worker_connector()):
            asyncio.run(_work(options["name"]))


async def _work(name: str) -> None:
    facts = WORKERS[name]
    async with app.open_async(), contextlib.AsyncExitStack() as stack:
        await stack.enter_async_context(beating(app.connector, name))
        await app.run_worker_async(
            name=name, queues=list(facts.queues), concurrency=facts.concurrency
        )
