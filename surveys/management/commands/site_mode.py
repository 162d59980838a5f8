"""Open the site, make it read-only, or close it for maintenance."""

import datetime as dt
from argparse import ArgumentParser
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError

from surveys.site_mode import Mode, SiteMode, read, write

LONGEST_MINUTES = 7 * 24 * 60


class Command(BaseCommand):
    help = (
        "Without an argument, say which mode the site is in. read-only: pages can be read, and "
        "nothing can be saved. maintenance: every page says that the site is closed. It holds for "
        "the servers of this host from the next request on, until `site_mode open`."
    )
    requires_system_checks = ()

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("mode", nargs="?", choices=[mode.value for mode in Mode])
        parser.add_argument(
            "--minutes", type=int, help="how long it is likely to take; people and phones are told"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        file = settings.SITE_MODE_FILE
        if options["mode"] is not None:
            wanted = SiteMode(Mode(options["mode"]), _until(options["minutes"]))
            try:
                write(file, wanted)
            except OSError as error:
                raise CommandError(
                    f"{file} cannot be written ({error.strerror}), so nothing changed. Call "
                    "this as the user that the server runs as, or as root."
                ) from error
        now = read(file)
        self.stdout.write(f"The site is {now.mode} ({file}).")
        if now.mode is not Mode.OPEN:
            self.stdout.write(
                "Work in the background goes on. Stop the worker too before you copy or move the "
                "database."
            )


def _until(minutes: int | None) -> dt.datetime | None:
    if minutes is None:
        return None
    if not 1 <= minutes <= LONGEST_MINUTES:
        raise CommandError(f"--minutes {minutes}: it is from 1 to {LONGEST_MINUTES}.")
    return dt.datetime.now(dt.UTC) + dt.timedelta(minutes=minutes)
