"""Run the workers: mail and housekeeping, imports and publications, fits, simulations."""

import signal
import sys
from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand

from surveys.runs.queues import WORKERS
from surveys.runs.supervisor import Supervisor


class Command(BaseCommand):
    help = (
        "Work off what is queued, in a process each for mail and housekeeping, for imports and "
        "publications, for fits, and for simulations. A process that ends is started again."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument(
            "--only",
            choices=sorted(WORKERS),
            action="append",
            help="run this one only; may be given more than once (several hosts share the queue)",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        names = options["only"] or WORKERS
        work = [sys.executable, "manage.py", "work"]
        supervisor = Supervisor({name: [*work, name] for name in names})
        for number in (signal.SIGTERM, signal.SIGINT):
            signal.signal(number, lambda *_: supervisor.stop())
        supervisor.run()
