"""Load the two demo programmes."""

import datetime as dt
import time
from typing import Any

from django.core.management.base import BaseCommand, CommandParser

from surveys.demo.load import load_demo
from surveys.demo.story import Scale


class Command(BaseCommand):
    help = (
        "Load two demo programmes with invented places and people. "
        "Does nothing when they are there already; --fresh replaces them."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument(
            "--until",
            type=dt.date.fromisoformat,
            default=None,
            help="The day on which the story ends, such as 2026-11-25. Default: today.",
        )
        parser.add_argument("--seed", type=int, default=1, help="Another seed, another story.")
        parser.add_argument(
            "--routes", type=int, default=99, help="At most so many routes a programme."
        )
        parser.add_argument(
            "--years", type=int, default=12, choices=range(1, 13), help="Complete season years."
        )
        parser.add_argument("--fresh", action="store_true", help="Replace the demo programmes.")

    def handle(self, *args: Any, **options: Any) -> None:
        begun = time.monotonic()
        scale = Scale(
            until=options["until"] or dt.datetime.now(dt.UTC).date(),
            seed=options["seed"],
            routes=options["routes"],
            years=options["years"],
        )
        for programme in load_demo(scale, fresh=options["fresh"], say=self.stdout.write):
            if programme.was_there:
                self.stdout.write(f"{programme.name} is there already; nothing was changed.")
            else:
                self.stdout.write(
                    f"{programme.name}: {programme.visits} visits, {programme.periods} stops "
                    f"listened or skipped, {programme.calls} calls."
                )
        self.stdout.write(f"Done in {time.monotonic() - begun:.1f} s.")
