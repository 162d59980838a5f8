"""Load the two demo programs."""

import datetime as dt
import time
from typing import Any

from django.core.management.base import BaseCommand, CommandParser

from accounts.models import Role
from surveys.demo.load import load_demo
from surveys.demo.story import Scale
from surveys.models import Program
from surveys.publishing.closing import last_closed_season
from surveys.publishing.publish import request_publication


class Command(BaseCommand):
    help = (
        "Load two demo programs with invented places and people. "
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
            "--routes", type=int, default=99, help="At most so many routes a program."
        )
        parser.add_argument(
            "--years", type=int, default=12, choices=range(1, 13), help="Complete season years."
        )
        parser.add_argument(
            "--site-url",
            default="http://127.0.0.1:8000",
            help="Where readers reach the site: the address that publications name.",
        )
        parser.add_argument("--fresh", action="store_true", help="Replace the demo programs.")

    def handle(self, *args: Any, **options: Any) -> None:
        begun = time.monotonic()
        scale = Scale(
            until=options["until"] or dt.datetime.now(dt.UTC).date(),
            seed=options["seed"],
            routes=options["routes"],
            years=options["years"],
        )
        for program in load_demo(scale, fresh=options["fresh"], report=self.stdout.write):
            if program.was_there:
                self.stdout.write(f"{program.name} is there already; nothing was changed.")
            else:
                self.stdout.write(
                    f"{program.name}: {program.visits} visits, {program.periods} stops "
                    f"listened or skipped, {program.calls} calls."
                )
                publish_last_season(program.slug, scale.until, options["site_url"])
        self.stdout.write(f"Done in {time.monotonic() - begun:.1f} s.")


def publish_last_season(slug: str, today: dt.date, site_url: str) -> None:
    """Leave the worker a publication of the last season that is over."""
    program = Program.objects.get(slug=slug)
    coordinator = program.memberships.filter(role=Role.COORDINATOR).order_by("pk").first()
    season_year = last_closed_season(program, today)
    if coordinator and season_year:
        request_publication(coordinator, season_year, site_url=site_url)
