"""Season years from which on listening was another: other rules, or other stops.

A step in how well frogs are heard cannot be told from a step in how many there are, nor can a step
to better or worse stops. So a change that touches enough of the surveys is a break in the series,
and the line over the years has a step of its own there.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from surveys.trends.estimates import PROTOCOL_CHANGED, STOPS_CHANGED
from surveys.trends.histories import PeriodColumns
from surveys.trends.numerics.arrays import AnyArray, BoolArray, IntArray

# Common practice, no source: a change that touches fewer of the surveys of a year is no break.
LEAST_SHARE = 0.1
# A step leaves nothing of a stretch of one year, and hardly anything of one of two.
FEWEST_YEARS_OF_A_SIDE = 3
# First and last night of a stop, as ordinal days; None for a stop that is still in use.
InUse = tuple[int, int | None]


@dataclass(frozen=True, kw_only=True)
class Breaks:
    """Season years, each the first after a change: of the rules for listening (``protocol``), and
    of the list of stops (``stops``)."""

    protocol: tuple[int, ...] = ()
    stops: tuple[int, ...] = ()

    @property
    def years(self) -> tuple[int, ...]:
        """All of them, in order."""
        return tuple(sorted({*self.protocol, *self.stops}))

    @property
    def flags(self) -> tuple[str, ...]:
        """What the trend is told with."""
        return (
            *((PROTOCOL_CHANGED,) if self.protocol else ()),
            *((STOPS_CHANGED,) if self.stops else ()),
        )


def find_breaks(periods: PeriodColumns, in_use: Mapping[int, InUse]) -> Breaks:
    """The breaks in the listening periods of a program or of a species.

    Parameters
    ----------
    periods
        Listening periods; without ``way`` the rules are taken as the same throughout.
    in_use
        First and last night of each stop; a stop that is not among them was always in use.

    Returns
    -------
    Breaks
        A season year is one where at least a tenth of the surveys of its routes, by listening
        periods or by stops, are under other rules or at other stops than in the season before in
        which the route was run. Routes that are run for the first time count for nothing: how they
        differ from others is no change.

    Examples
    --------
    >>> import numpy as np
    >>> route, year = (axis.ravel() for axis in np.indices((4, 6)))
    >>> ones = np.ones(24)
    >>> periods = PeriodColumns(
    ...     route=route, stop=route, season_year=2015 + year, night=365 * (2015 + year),
    ...     visit_number=ones.astype(int), call_index=ones, heard=ones,
    ...     way=(year >= 4).astype(int),
    ... )
    >>> find_breaks(periods, {}).protocol
    (2019,)
    """
    route_years = _RouteYears.of(periods)
    return Breaks(
        protocol=_large(_other_ways(route_years)),
        stops=_large(_other_stops(route_years, periods, in_use)),
    )


def told_years(years: Sequence[int], breaks: Sequence[int]) -> tuple[int, ...]:
    """The season years with effort that carry a line with steps at the breaks.

    A stretch between breaks of fewer than three years is left out; where all are so short, the
    longest is kept, of equals the latest.

    Examples
    --------
    >>> told_years(range(2011, 2020), [2018])
    (2011, 2012, 2013, 2014, 2015, 2016, 2017)
    """
    ordered = np.unique(np.asarray(years, dtype=np.int64))
    stretch = np.searchsorted(np.sort(np.asarray(breaks, dtype=np.int64)), ordered, side="right")
    parts = [ordered[stretch == part].tolist() for part in np.unique(stretch)]
    longest: list[int] = max(parts, key=lambda part: (len(part), part[-1]), default=[])
    kept = [part for part in parts if len(part) >= FEWEST_YEARS_OF_A_SIDE] or [longest]
    return tuple(year for part in kept for year in part)


def steps_within(years: Sequence[int], breaks: Sequence[int]) -> tuple[int, ...]:
    """The breaks that lie between these season years: each has a year before it and one from it on.

    Of breaks without a year between them one is enough.

    Examples
    --------
    >>> steps_within([2011, 2012, 2013, 2016, 2017, 2018], [2011, 2014, 2016, 2020])
    (2016,)
    """
    ordered = np.unique(np.asarray(years, dtype=np.int64))
    places = {
        int(np.searchsorted(ordered, first)): int(first)
        for first in sorted(breaks)
        if len(ordered) and ordered[0] < first <= ordered[-1]
    }
    return tuple(places[place] for place in sorted(places))


@dataclass(frozen=True, kw_only=True)
class _RouteYears:
    """Every season of every route, by route and season year: (R,) arrays. ``at`` (periods,) says
    which of them a listening period belongs to; ``before`` is the season of the route before it,
    -1 for its first."""

    route: AnyArray
    year: IntArray
    size: IntArray
    way: IntArray
    before: IntArray
    at: IntArray

    @classmethod
    def of(cls, periods: PeriodColumns) -> _RouteYears:
        labels, route = np.unique(periods.route, return_inverse=True)
        years, year = np.unique(periods.season_year, return_inverse=True)
        key = route.astype(np.int64) * max(len(years), 1) + year
        seasons, at, size = np.unique(key, return_inverse=True, return_counts=True)
        of_route = seasons // max(len(years), 1)
        same = np.r_[False, of_route[1:] == of_route[:-1]] if len(seasons) else np.zeros(0, bool)
        way = np.zeros(len(key), np.int64) if periods.way is None else periods.way
        return cls(
            route=labels[of_route],
            year=years[seasons % max(len(years), 1)],
            size=size,
            way=_commonest(way, at, len(seasons)),
            before=np.where(same, np.arange(len(seasons)) - 1, -1),
            at=at,
        )

    @property
    def again(self) -> Iterator[int]:
        """The seasons that are not the first of their route, by season year."""
        later = np.flatnonzero(self.before >= 0)
        yield from later[np.argsort(self.year[later], kind="stable")].tolist()


def _commonest(way: IntArray, at: IntArray, seasons: int) -> IntArray:
    """The way in which most of the listening periods of each season were made."""
    codes, code = np.unique(way, return_inverse=True)
    counts = np.zeros((seasons, max(len(codes), 1)), dtype=np.int64)
    np.add.at(counts, (at, code), 1)
    commonest: IntArray = codes[counts.argmax(axis=1)] if len(codes) else np.zeros(0, np.int64)
    return commonest


# Season year to the size of what changed, and of all that could have.
_Shares = tuple[Counter[int], Counter[int]]


def _other_ways(seasons: _RouteYears) -> _Shares:
    """Listening periods under other rules than in the season of the route before.

    A route that was not run when the others changed comes back changed: it changed with them.
    """
    changed: Counter[int] = Counter()
    of_all: Counter[int] = Counter()
    known: dict[tuple[int, int], list[int]] = defaultdict(list)
    for season in seasons.again:
        before, year = int(seasons.before[season]), int(seasons.year[season])
        size = int(seasons.size[season])
        of_all[year] += size
        change = int(seasons.way[before]), int(seasons.way[season])
        if change[0] == change[1]:
            continue
        with_others = [first for first in known[change] if seasons.year[before] < first <= year]
        when = with_others[0] if with_others else year
        known[change].append(when)
        changed[when] += size
    return changed, of_all


def _other_stops(
    seasons: _RouteYears, periods: PeriodColumns, in_use: Mapping[int, InUse]
) -> _Shares:
    """Stops that joined or left the list of a route since the season of the route before."""
    changed: Counter[int] = Counter()
    of_all: Counter[int] = Counter()
    if not in_use or not len(periods.stop):
        return changed, of_all
    listed = _ListedStops.of(seasons, periods, in_use)
    again = np.flatnonzero(seasons.before >= 0)
    before = seasons.before[again]
    joined = listed.without(again, before)
    left = listed.without(before, again)
    sizes = np.maximum(listed.sizes[again], listed.sizes[before])
    for year, change, size in zip(
        seasons.year[again].tolist(), np.maximum(joined, left).tolist(), sizes.tolist(), strict=True
    ):
        changed[year] += change
        of_all[year] += size
    return changed, of_all


@dataclass(frozen=True, kw_only=True)
class _ListedStops:
    """The stops of each season's route that were in use on its last night, listened to or not.

    Every stop of a route stands in every season of it: ``used`` (N,) says which were in use,
    ``first`` (R,) where each season begins, ``count`` (R,) how many stops its route ever had.
    """

    used: BoolArray
    first: IntArray
    count: IntArray

    @classmethod
    def of(
        cls, seasons: _RouteYears, periods: PeriodColumns, in_use: Mapping[int, InUse]
    ) -> _ListedStops:
        last_night = np.zeros(len(seasons.year), dtype=np.int64)
        np.maximum.at(last_night, seasons.at, periods.night)
        routes, of_season = np.unique(seasons.route, return_inverse=True)
        stops, stop = np.unique(periods.stop, return_inverse=True)
        pairs = np.unique(of_season[seasons.at] * len(stops) + stop)
        stops_of = np.bincount(pairs // len(stops), minlength=len(routes))
        count = stops_of[of_season]
        first = np.cumsum(count) - count
        season = np.repeat(np.arange(len(count)), count)
        of_route = (np.cumsum(stops_of) - stops_of)[of_season]
        pair = pairs[np.repeat(of_route - first, count) + np.arange(len(season))] % len(stops)
        since, until = np.array(
            [_ends_of(in_use.get(stop)) for stop in stops.tolist()], dtype=np.float64
        ).T
        night = last_night[season]
        used: BoolArray = (since[pair] <= night) & (night <= until[pair])
        return cls(used=used, first=first, count=count)

    @property
    def sizes(self) -> IntArray:
        """Stops in use in each season (R,)."""
        season = np.repeat(np.arange(len(self.count)), self.count)
        return np.bincount(season[self.used], minlength=len(self.count)).astype(np.int64)

    def without(self, some: IntArray, others: IntArray) -> IntArray:
        """How many stops were in use in some seasons and not in others of the same routes (n,)."""
        count = self.count[some]
        number = np.repeat(np.arange(len(some)), count)
        within = np.arange(len(number)) - np.repeat(np.cumsum(count) - count, count)
        in_some = self.used[self.first[some][number] + within]
        in_others = self.used[self.first[others][number] + within]
        return np.bincount(number[in_some & ~in_others], minlength=len(some)).astype(np.int64)


def _ends_of(used: InUse | None) -> tuple[float, float]:
    since, until = used or (-np.inf, None)
    return since, np.inf if until is None else until


def _large(shares: _Shares) -> tuple[int, ...]:
    changed, of_all = shares
    return tuple(
        sorted(year for year, size in changed.items() if size >= LEAST_SHARE * max(of_all[year], 1))
    )
