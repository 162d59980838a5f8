"""Load the two demo programs."""

import datetime as dt
import time
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandParser

from surveys.demo.load import load_demo
from surveys.demo.signins import sign_in_lines
from surveys.demo.story import Scale
from surveys.management.demo_publications import make_all, request_missing
from surveys.visits.media.pictures import ask_for_old_pictures

# When it is noon on the Pacific coast, the last place that a program of the demo may be in.
_NOON_EVERYWHERE = dt.timedelta(hours=20)


def last_whole_day(now: dt.datetime) -> dt.date:
    """The last day whose noon is past, wherever a program of the demo is: nobody sends or accepts
    a visit in the future. `now` in UTC."""
    return (now - _NOON_EVERYWHERE).date()


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
            help="The day on which the story ends, at noon, such as 2026-11-25. Default: the last "
            "one whose noon is past.",
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
        parser.add_argument(
            "--publish",
            action="store_true",
            help="Make the publications at once and wait for them. Default: leave them to the "
            "worker.",
        )
        parser.add_argument(
            "--sign-ins", type=Path, help="A file that is to say who can sign in, and how."
        )
        parser.add_argument("--fresh", action="store_true", help="Replace the demo programs.")

    def handle(self, *args: Any, **options: Any) -> None:
        begun = time.monotonic()
        scale = Scale(
            until=options["until"] or last_whole_day(dt.datetime.now(dt.UTC)),
            seed=options["seed"],
            routes=options["routes"],
            years=options["years"],
        )
        programs = load_demo(scale, fresh=options["fresh"], report=self.stdout.write)
        for program in programs:
            if program.was_there:
                self.stdout.write(f"{program.name} is there already; nothing was changed.")
            else:
                self.stdout.write(
                    f"{program.name}: {program.visits} visits, {program.periods} stops "
                    f"listened or skipped, {program.calls} calls."
                )
        if not all(program.was_there for program in programs):
            ask_for_old_pictures()
        slugs = [program.slug for program in programs]
        asked = request_missing(slugs, scale.until, options["site_url"])
        if options["publish"]:
            make_all(asked, lambda line: self.stdout.write(f"... publishing: {line}"))
        if options["sign_ins"]:
            options["sign_ins"].write_text("\n".join(sign_in_lines()) + "\n", "utf-8")
        self.stdout.write(f"Done in {time.monotonic() - begun:.1f} s.")
