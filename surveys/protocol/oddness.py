"""What stands out in a visit beside the earlier visits of its route.

Nothing here is a fault. Each reason says where to look first; the coordinator decides. How many
earlier visits are enough to compare with, and how far apart two call indexes must be, are our own
choices: common practice, no source.
"""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum

# Earlier visits of the route, or of the stop, that are enough to compare with.
ENOUGH_VISITS = 3
# Steps of the call index that make a jump.
JUMP = 2
# Visits at about the same time of the year: that many days apart, whatever the year.
SAME_TIME_DAYS = 15
# A stop is known for a species if so many of at least so many such visits heard it there.
ENOUGH_AT_SAME_TIME = 4
USUALLY = 0.75
HIGHEST_SCORE = 99
_YEAR_DAYS = 365


class Oddity(StrEnum):
    """Why a visit stands out; the order is that in which reasons are told."""

    FIRST_ON_ROUTE = "first-on-route"
    OUT_OF_SEASON = "out-of-season"
    UNLIKE_SECOND_OBSERVER = "unlike-second-observer"
    INDEX_JUMP = "index-jump"
    UNLIKE_STOP = "unlike-stop"


WEIGHTS: Mapping[Oddity, int] = {
    Oddity.FIRST_ON_ROUTE: 4,
    Oddity.OUT_OF_SEASON: 4,
    Oddity.UNLIKE_SECOND_OBSERVER: 3,
    Oddity.INDEX_JUMP: 2,
    Oddity.UNLIKE_STOP: 1,
}


@dataclass(frozen=True, kw_only=True)
class Night:
    """A visit as it is compared. `heard` has each stop that was listened to, by its key, with the
    call index of each species, by its code; None where the record says nothing for sure."""

    night: dt.date
    observer: int
    heard: Mapping[int, Mapping[str, int | None]]


@dataclass(frozen=True, kw_only=True)
class Reason:
    """Why a visit stands out: a species, and the stops by their keys. `index` is the highest call
    index there, `before` the highest one of earlier visits."""

    oddity: Oddity
    species: str
    stops: tuple[int, ...]
    index: int | None = None
    before: int | None = None


def reasons(
    visit: Night, others: Iterable[Night], out_of_season: Iterable[tuple[int, str]] = ()
) -> tuple[Reason, ...]:
    """Why a visit stands out beside `others`, the other visits of its route.

    `out_of_season` are the stops and species that the rule on calling seasons asks about.
    """
    beside = list(others)
    earlier = [one for one in beside if one.night < visit.night]
    second = [one for one in beside if one.night == visit.night and one.observer != visit.observer]
    highest = _highest_of(earlier)
    of_season = [
        (Oddity.OUT_OF_SEASON, species, stop, visit.heard.get(stop, {}).get(species), None)
        for stop, species in out_of_season
    ]
    found = [
        *_first_on_route(visit, earlier, highest),
        *of_season,
        *_unlike_second(visit, second),
        *_jumps(visit, earlier, highest),
        *_unlike_stop(visit, earlier),
    ]
    return _by_species(found)


def score(found: Sequence[Reason]) -> int:
    """How much a visit stands out: 0 when there is nothing to tell."""
    return min(sum(WEIGHTS[reason.oddity] for reason in found), HIGHEST_SCORE)


# Oddity, species, stop, index now, highest index before.
_Found = tuple[Oddity, str, int, int | None, int | None]


def _highest_of(nights: Iterable[Night]) -> dict[str, dict[int, int]]:
    """By species and stop, the highest index so far. A record without an index is a 0: the
    species has been written down there."""
    highest: dict[str, dict[int, int]] = defaultdict(dict)
    for night in nights:
        for stop, calls in night.heard.items():
            for species, index in calls.items():
                at = highest[species]
                at[stop] = max(at.get(stop, 0), index or 0)
    return highest


def _first_on_route(
    visit: Night, earlier: list[Night], highest: Mapping[str, Mapping[int, int]]
) -> list[_Found]:
    if len(earlier) < ENOUGH_VISITS:
        return []
    return [
        (Oddity.FIRST_ON_ROUTE, species, stop, index, None)
        for stop, calls in visit.heard.items()
        for species, index in calls.items()
        if index and species not in highest
    ]


def _jumps(
    visit: Night, earlier: list[Night], highest: Mapping[str, Mapping[int, int]]
) -> list[_Found]:
    """Far louder than ever at a stop, for a species that the route is known for."""
    visits_of_stop = _times_listened(earlier)
    found: list[_Found] = [
        (Oddity.INDEX_JUMP, species, stop, index, before)
        for stop, calls in visit.heard.items()
        for species, index in calls.items()
        if index
        and species in highest
        and visits_of_stop.get(stop, 0) >= ENOUGH_VISITS
        and index - (before := highest[species].get(stop, 0)) >= JUMP
    ]
    return found


def _times_listened(nights: Iterable[Night]) -> dict[int, int]:
    times: dict[int, int] = defaultdict(int)
    for night in nights:
        for stop in night.heard:
            times[stop] += 1
    return times


def _unlike_second(visit: Night, second: list[Night]) -> list[_Found]:
    """Heard by one of two observers of the same night only, or with a far other call index."""
    found: list[_Found] = []
    for other in second:
        for stop in visit.heard.keys() & other.heard.keys():
            ours, theirs = visit.heard[stop], other.heard[stop]
            for species in ours.keys() | theirs.keys():
                index, beside = ours.get(species, 0), theirs.get(species, 0)
                if index is None or beside is None:
                    continue
                if bool(index) != bool(beside) or abs(index - beside) >= JUMP:
                    found.append((Oddity.UNLIKE_SECOND_OBSERVER, species, stop, index, beside))
    return found


def _unlike_stop(visit: Night, earlier: list[Night]) -> list[_Found]:
    """Silent at a stop where nearly every visit at this time of the year heard the species."""
    same_time = [one for one in earlier if _days_apart(one.night, visit.night) <= SAME_TIME_DAYS]
    times = _times_listened(same_time)
    heard: dict[tuple[int, str], int] = defaultdict(int)
    highest: dict[tuple[int, str], int] = defaultdict(int)
    for one in same_time:
        for stop, calls in one.heard.items():
            for species, index in calls.items():
                if index:
                    heard[stop, species] += 1
                    highest[stop, species] = max(highest[stop, species], index)
    return [
        (Oddity.UNLIKE_STOP, species, stop, 0, highest[stop, species])
        for (stop, species), number in heard.items()
        if stop in visit.heard
        and species not in visit.heard[stop]
        and times[stop] >= ENOUGH_AT_SAME_TIME
        and number >= USUALLY * times[stop]
    ]


def _days_apart(one: dt.date, other: dt.date) -> int:
    """Days between two days of the year, over New Year if that is shorter."""
    apart = abs(one.timetuple().tm_yday - other.timetuple().tm_yday)
    return min(apart, _YEAR_DAYS - apart)


def _by_species(found: Iterable[_Found]) -> tuple[Reason, ...]:
    """One reason an oddity and species, with all its stops."""
    groups: dict[tuple[Oddity, str], list[_Found]] = defaultdict(list)
    for one in found:
        groups[one[0], one[1]].append(one)
    order = list(Oddity)
    return tuple(
        Reason(
            oddity=oddity,
            species=species,
            stops=tuple(sorted({one[2] for one in rows})),
            index=max((one[3] for one in rows if one[3] is not None), default=None),
            before=max((one[4] for one in rows if one[4] is not None), default=None),
        )
        for (oddity, species), rows in sorted(
            groups.items(), key=lambda item: (order.index(item[0][0]), item[0][1])
        )
    )
