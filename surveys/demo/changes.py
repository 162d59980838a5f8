"""What was done to the wetlands of a demo program. Nature here does not heed it, so the pages
should find no effect."""

from __future__ import annotations

import datetime as dt
from random import Random

from accounts.models import Person
from surveys.demo.story import Story
from surveys.models import ChangeKind, Program, Stop, WetlandChange

# Of ten routes: how many have a wetland with a prescribed fire, and with fish that came.
_BURNED, _FISH = 7, 2


def write_changes(program: Program, story: Story, noted_by: Person, rng: Random) -> None:
    """Early in the year, in the middle seasons, at one or two stops of a route."""
    stops: dict[str, list[Stop]] = {}
    for stop in Stop.objects.filter(route__program=program).select_related("route"):
        stops.setdefault(stop.route.code, []).append(stop)
    codes = sorted(stops)
    burned = rng.sample(codes, max(len(codes) * _BURNED // 10, 1))
    fish = rng.sample(codes, max(len(codes) * _FISH // 10, 1))
    years = [season.year for season in story.seasons]
    middle = years[len(years) // 3 : -(len(years) // 3) or None]
    rows = []
    for kind, of_kind, note in (
        (ChangeKind.BURNED, burned, "Prescribed fire"),
        (ChangeKind.FISH_CAME, fish, "Seen after high water"),
    ):
        for code in of_kind:
            for stop in rng.sample(stops[code], min(2, len(stops[code]))):
                began = dt.date(rng.choice(middle), 2, rng.randint(1, 25))
                rows.append(
                    WetlandChange(stop=stop, kind=kind, began=began, note=note, noted_by=noted_by)
                )
    WetlandChange.objects.bulk_create(rows)
