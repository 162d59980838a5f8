"""Look for what needs an operator, and mail it."""

import time
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand

from surveys.operations.alerts import look


class Command(BaseCommand):
    help = (
        "Look for workers that do not run, work that is stuck or has failed, a disk that is nearly "
        "full and backups that are too old, and mail DUSKPOOL_OPERATORS: once for each, and once "
        "when it is mended. Looks once; with --every it goes on."
    )
    # They ask the database, which may be away.
    requires_system_checks = ()

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--every", type=int, metavar="SECONDS", help="look again and again")

    def handle(self, *args: Any, **options: Any) -> None:
        while True:
            for letter in look(Path(settings.ALERTS_FILE)):
                self.stdout.write(f"Mailed {letter.to}.")
            if not options["every"]:
                return
            time.sleep(options["every"])
