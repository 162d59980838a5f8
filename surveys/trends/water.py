"""The water in wetlands over a season, as far as visits saw it, and when calling follows it.

A look is a listening period whose observer wrote down the water. Between two looks nobody knows:
what happened there is told by the nights it lies between.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from itertools import groupby, pairwise

import numpy as np

from surveys.trends import estimates
from surveys.trends.estimates import Estimate, not_estimable
from surveys.trends.histories import PeriodColumns
from surveys.trends.models.interval_censored import clustered_medians, turnbull
from surveys.trends.numerics.arrays import BoolArray, FloatArray, IntArray
from surveys.trends.numerics.intervals import wilson_clustered

DRY, POOLS, FULL = 0.0, 1.0, 2.0
# The call index from which on calls overlap: a chorus (common practice, no source).
CHORUS = 2
# Common practice, no source: fewer stop-seasons, or routes, say little.
FEWEST_LAGS = 5
FEWEST_ROUTES = 3
LAG_METHOD = "interval-censored-median"
LAG_INTERVAL = "shortest-to-longest"
_SEED, _REPLICATES = 1, 400

# How the water of a site was over a season, by the looks that saw it.
EVERY_LOOK, SOME_LOOKS, NO_LOOK = "every-look", "some-looks", "no-look"
WATER_CLASSES = (EVERY_LOOK, SOME_LOOKS, NO_LOOK)


@dataclass(frozen=True)
class Between:
    """Something happened after the night ``after`` and by the night ``by``, as ordinal days.
    ``after`` is None where no earlier look tells that it had not happened yet."""

    after: int | None
    by: int


@dataclass(frozen=True, kw_only=True)
class WaterYear:
    """The looks at the water of one stop in one season year: nights as ordinal days in order, and
    the water on each: 0 dry, 1 pools, 2 full."""

    stop: int
    season_year: int
    looks: tuple[tuple[int, float], ...]

    @property
    def filled(self) -> Between | None:
        """The first filling; None where no look saw water."""
        return _first([(night, water > DRY) for night, water in self.looks])

    @property
    def dried(self) -> Between | None:
        """The first drying after that; None where no look saw it."""
        filled = self.filled
        if filled is None:
            return None
        return _first([(night, water == DRY) for night, water in self.looks if night >= filled.by])

    @property
    def held(self) -> tuple[int, int]:
        """The fewest and the most days with water from the first look to the last. Between two
        looks that saw water it is taken to have stayed; between two dry looks, not to have come."""
        least = sum(water > DRY for _, water in self.looks)
        most = least
        for (night, water), (later, then) in pairwise(self.looks):
            unseen = later - night - 1
            least += unseen if min(water, then) > DRY else 0
            most += unseen if max(water, then) > DRY else 0
        return least, most


def _first(looks: list[tuple[int, bool]]) -> Between | None:
    before = None
    for night, happened in looks:
        if happened:
            return Between(before, night)
        before = night
    return None


def water_years(columns: PeriodColumns) -> Iterator[WaterYear]:
    """The looks of every stop and season year, by stop and season year."""
    seen = np.flatnonzero(~np.isnan(columns.covariates["water"]))
    stop, year, night = columns.stop[seen], columns.season_year[seen], columns.night[seen]
    water = columns.covariates["water"][seen]
    order = np.lexsort((water, night, year, stop))
    rows = zip(*(array[order].tolist() for array in (stop, year, night, water)), strict=True)
    return years_of_looks(rows)


def years_of_looks(looks: Iterable[tuple[int, int, int, float]]) -> Iterator[WaterYear]:
    """The same from looks in order: stop, season year, night as an ordinal day, and water. Of two
    looks on one night the later in that order counts: the one that saw more water."""
    for (stop, season_year), group in groupby(looks, key=lambda look: look[:2]):
        by_night = {night: water for _, _, night, water in group}
        yield WaterYear(stop=stop, season_year=season_year, looks=tuple(by_night.items()))


@dataclass(frozen=True, kw_only=True)
class WaterClass:
    """Site-seasons whose looks saw the water alike, and the share of them where the species was
    heard in its calling season, not corrected for detection."""

    name: str
    sites: int
    heard: Estimate


@dataclass(frozen=True, kw_only=True)
class WaterAndCalls:
    """How calling of a species goes with the water at stops. ``lag`` is the days from the first
    filling of a season to the first chorus at the same stop, ``lags`` and ``routes`` what it rests
    on; ``before`` counts stop-seasons with a chorus before the first filling that a look saw."""

    lag: Estimate
    lags: int
    routes: int
    before: int
    classes: tuple[WaterClass, ...]


def water_and_calls(columns: PeriodColumns, in_season: BoolArray) -> WaterAndCalls:
    """From the listening periods of one species to how its calling goes with the water.

    Parameters
    ----------
    columns
        Its listening periods of whole season years, with the covariate ``water``: 0 dry, 1 pools,
        2 full, NaN where nobody looked.
    in_season
        (n,) those of its calling season.

    Returns
    -------
    WaterAndCalls
        The lag is of the stop-seasons with a chorus and a look that saw water by then. Sparse data
        never raise: flags say what they cannot carry.

    Examples
    --------
    >>> import numpy as np
    >>> stop, look = (axis.ravel() for axis in np.indices((12, 4)))
    >>> columns = PeriodColumns(
    ...     route=stop // 2, stop=stop, season_year=np.full(48, 2024), night=10 * look,
    ...     visit_number=look + 1, call_index=np.where(look == 3, 3.0, 0.0),
    ...     heard=(look == 3).astype(float), covariates={"water": np.where(look == 0, 0.0, 2.0)},
    ... )
    >>> result = water_and_calls(columns, np.ones(48, dtype=bool))
    >>> result.lags, result.lag.low, result.lag.high
    (12, 11.0, 29.0)
    >>> [(of.name, of.sites) for of in result.classes]
    [('some-looks', 12)]
    """
    nights = _StopSeasons.of(columns)
    shortest, longest = nights.lags()
    known = ~np.isnan(shortest)
    before = known & (longest < 0)
    used = known & ~before
    return WaterAndCalls(
        lag=_lag(np.maximum(shortest[used], 0.0), longest[used], nights.route[used]),
        lags=int(used.sum()),
        routes=len(np.unique(nights.route[used])),
        before=int(before.sum()),
        classes=tuple(_classes(nights, in_season)),
    )


@dataclass(frozen=True, kw_only=True)
class _StopSeasons:
    """Listening periods by stop and season year; ``of_period`` (n,) numbers these, ``route`` (S,)
    says where each lies."""

    columns: PeriodColumns
    of_period: IntArray
    route: IntArray

    @classmethod
    def of(cls, columns: PeriodColumns) -> _StopSeasons:
        _, stop = np.unique(columns.stop, return_inverse=True)
        _, route = np.unique(columns.route, return_inverse=True)
        years, year = np.unique(columns.season_year, return_inverse=True)
        _, first, number = np.unique(
            stop * max(len(years), 1) + year, return_index=True, return_inverse=True
        )
        return cls(columns=columns, of_period=number, route=route[first])

    def first_night(self, which: BoolArray) -> FloatArray:
        """The first night of those periods in each stop-season; infinite without one."""
        nights = np.full(len(self.route), np.inf)
        np.minimum.at(nights, self.of_period[which], self.columns.night[which])
        return nights

    def last_night(self, which: BoolArray, before: FloatArray) -> FloatArray:
        """The last night of those periods that are before a night; minus infinite without one."""
        nights = np.full(len(self.route), -np.inf)
        which = which & (self.columns.night < before[self.of_period])
        np.maximum.at(nights, self.of_period[which], self.columns.night[which])
        return nights

    def any_of(self, which: BoolArray) -> BoolArray:
        return np.bincount(self.of_period[which], minlength=len(self.route)) > 0

    def lags(self) -> tuple[FloatArray, FloatArray]:
        """The fewest and the most days from the first filling to the first chorus; NaN where no
        look saw water, or nobody heard a chorus."""
        water, index = self.columns.covariates["water"], self.columns.call_index
        filled = self.first_night(water > DRY)
        chorus = self.first_night((index >= CHORUS) & (self.columns.heard > 0))
        dry_before = self.last_night(water == DRY, filled)
        silent_before = self.last_night(index < CHORUS, chorus)
        known = np.isfinite(filled) & np.isfinite(chorus)
        with np.errstate(invalid="ignore"):
            shortest = np.where(known, silent_before + 1 - filled, np.nan)
            longest = np.where(known, chorus - (dry_before + 1), np.nan)
        return shortest, longest


def _lag(shortest: FloatArray, longest: FloatArray, route: IntArray) -> Estimate:
    name = "days from first filling to first chorus"
    routes, cluster = np.unique(route, return_inverse=True)
    if len(shortest) < FEWEST_LAGS or len(routes) < FEWEST_ROUTES:
        return not_estimable(name, method=LAG_METHOD, flags=(estimates.TOO_FEW_DATA,))
    first, last = turnbull(shortest, longest).quantile(0.5)
    tail = 0.025
    low = float(np.quantile(_medians(shortest, cluster), tail, method="lower"))
    high = float(np.quantile(_medians(longest, cluster), 1 - tail, method="higher"))
    middle = Estimate(
        name=name,
        value=(first + last) / 2,
        low=low,
        high=high,
        interval=LAG_INTERVAL,
        method=LAG_METHOD,
    )
    if np.isfinite(high):
        return middle
    value = None if np.isinf(last) else middle.value
    return replace(middle, value=value, high=None, flags=(estimates.ONE_SIDED,))


def _medians(values: FloatArray, cluster: IntArray) -> FloatArray:
    return clustered_medians(values, cluster, replicates=_REPLICATES, seed=_SEED)


def _classes(nights: _StopSeasons, in_season: BoolArray) -> Iterator[WaterClass]:
    water, heard = nights.columns.covariates["water"], nights.columns.heard
    wet, dry = nights.any_of(water > DRY), nights.any_of(water == DRY)
    listened = nights.any_of(in_season & ~np.isnan(heard))
    called = nights.any_of(in_season & (heard > 0))
    masks = {EVERY_LOOK: wet & ~dry, SOME_LOOKS: wet & dry, NO_LOOK: dry & ~wet}
    for name, mask in masks.items():
        rows = mask & listened
        if rows.any():
            yield WaterClass(
                name=name,
                sites=int(rows.sum()),
                heard=wilson_clustered(
                    called[rows], np.ones(rows.sum()), nights.route[rows], name=name
                ),
            )
