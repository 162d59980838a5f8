"""First, median and last calling night of a season, corrected for when people listened.

Nights are days from the first day of the season, so that a season across New Year has no break.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike

from surveys.trends import estimates
from surveys.trends.estimates import Estimate, merge_flags, not_estimable
from surveys.trends.numerics.arrays import BoolArray, FloatArray, IntArray, check_level, codes_of

ENDS_METHOD = "end-of-range"
MEDIAN_METHOD = "median-night"
# Common practice, no source: fewer nights with calls say little about a season.
FEWEST_NIGHTS = 5
# A night stands for at most this many days on either side.
_WIDEST_HALF_GAP = 10.0


@dataclass(frozen=True, kw_only=True)
class CallingNights:
    """Calling nights of one season year, in days from the first day of the season."""

    season_year: int
    first: Estimate
    median: Estimate
    last: Estimate


def calling_nights(
    days: ArrayLike,
    heard: ArrayLike,
    season_years: ArrayLike,
    routes: ArrayLike,
    *,
    seed: int,
    replicates: int = 400,
    level: float = 0.95,
) -> tuple[CallingNights, ...]:
    """First, median and last calling night of every season year, from listening periods.

    Parameters
    ----------
    days
        (n,) whole days from the first day of the season year.
    heard
        (n,) of 1 heard and 0 not heard; NaN is left out.
    season_years, routes
        (n,) season year and route of each listening period. A visit is one route on one day.
    seed
        Of the random numbers of the bootstrap.
    replicates
        Bootstrap samples of the routes, for the interval of the median.
    level
        Confidence level of the intervals.

    Returns
    -------
    tuple of CallingNights
        In days, by season year. The first night has a lower limit only: calling may have begun
        earlier, as far back as silent visits allow; the last night likewise has an upper limit
        only.

    Raises
    ------
    ValueError
        For arrays of different length, or days that are not whole numbers.

    References
    ----------
    Ends of the season: Strauss & Sadler 1989, Mathematical Geology 21:411–427.

    Examples
    --------
    >>> import numpy as np
    >>> days = np.repeat(np.arange(90, 150, 5), 3)
    >>> heard = (days >= 100) & (days <= 130)
    >>> (nights,) = calling_nights(
    ...     days, heard, np.full(36, 2024), np.tile([1, 2, 3], 12), seed=1, replicates=50
    ... )
    >>> nights.first.value, nights.median.value, nights.last.value
    (100.0, 115.0, 130.0)
    """
    check_level(level)
    listened = ~np.isnan(np.asarray(heard, dtype=np.float64))
    length = len(listened)
    day = np.asarray(days)
    if day.shape != (length,) or not np.issubdtype(day.dtype, np.integer):
        raise ValueError(f"days: expected {length} whole days")
    years, year = codes_of(season_years, name="season_years", length=length)
    route = codes_of(routes, name="routes", length=length)[1]
    rng = np.random.default_rng(seed)
    calling = []
    for code, label in enumerate(years.tolist()):
        rows = listened & (year == code)
        season = _Season.from_periods(
            day[rows], np.asarray(heard, dtype=np.float64)[rows] > 0, route[rows]
        )
        calling.append(
            CallingNights(
                season_year=int(label),
                first=_first(season, f"first calling night {label}", level),
                median=_median(season, f"median calling night {label}", level, rng, replicates),
                last=_last(season, f"last calling night {label}", level),
            )
        )
    return tuple(calling)


@dataclass(frozen=True, kw_only=True)
class _Season:
    """Days with listening (D,), and periods listened to and heard by route and day (R, D)."""

    days: IntArray
    listened: FloatArray
    heard: FloatArray

    @classmethod
    def from_periods(cls, day: IntArray, heard: BoolArray, route: IntArray) -> _Season:
        days, at = np.unique(day, return_inverse=True)
        routes, who = np.unique(route, return_inverse=True)
        shape = (len(routes), len(days))
        listened, called = np.zeros(shape), np.zeros(shape)
        np.add.at(listened, (who, at), 1.0)
        np.add.at(called, (who, at), heard.astype(np.float64))
        return cls(days=days, listened=listened, heard=called)

    @property
    def visits(self) -> FloatArray:
        """Visits on each day (D,)."""
        total: FloatArray = (self.listened > 0).sum(axis=0).astype(np.float64)
        return total

    @property
    def visits_heard(self) -> FloatArray:
        """Visits on each day that heard the species (D,)."""
        total: FloatArray = (self.heard > 0).sum(axis=0).astype(np.float64)
        return total

    def reversed(self) -> _Season:
        """Time run backwards, so that the last night becomes the first."""
        return _Season(
            days=-self.days[::-1], listened=self.listened[:, ::-1], heard=self.heard[:, ::-1]
        )


def _first(season: _Season, name: str, level: float) -> Estimate:
    """First day heard, with how much earlier the calling may have begun.

    Measured in visits, the calling season is taken as a range in which H visits with calls lie at
    random. With confidence C it goes on beyond them by at most
    ((1 - C)^(-1 / (H - 1)) - 1) times their own range.
    """
    called = season.visits_heard
    on = np.flatnonzero(called)
    if not len(on):
        flags = _silent_flags(season)
        return not_estimable(name, method=ENDS_METHOD, flags=flags, level=level)
    first = on[0]
    before = season.visits[:first]
    low, flags = None, _few_flags(len(on))
    if called.sum() >= 2:
        effort = season.visits[first : on[-1] + 1].sum()
        beyond = effort * ((1 - level) ** (-1 / (called.sum() - 1)) - 1)
        back = np.cumsum(before[::-1])
        enough = np.flatnonzero(back >= beyond)
        if len(enough):
            low = float(season.days[first - 1 - enough[0]] + 1)
    if low is None:
        flags = (*flags, estimates.ONE_SIDED)
    if not len(before):
        flags = (*flags, estimates.HEARD_AT_FIRST_EFFORT)
    value = float(season.days[first])
    return Estimate(
        name=name,
        value=value,
        low=low,
        high=value,
        interval="silent-visits",
        method=ENDS_METHOD,
        flags=flags,
        level=level,
    )


def _last(season: _Season, name: str, level: float) -> Estimate:
    mirrored = _first(season.reversed(), name, level)
    if mirrored.value is None:
        return mirrored
    renamed = {estimates.HEARD_AT_FIRST_EFFORT: estimates.HEARD_AT_LAST_EFFORT}
    return replace(
        mirrored,
        value=-mirrored.value,
        low=-mirrored.value,
        high=None if mirrored.low is None else -mirrored.low,
        flags=tuple(renamed.get(flag, flag) for flag in mirrored.flags),
    )


def _median(
    season: _Season, name: str, level: float, rng: np.random.Generator, replicates: int
) -> Estimate:
    on = np.flatnonzero(season.visits_heard)
    if not len(on):
        flags = _silent_flags(season)
        return not_estimable(name, method=MEDIAN_METHOD, flags=flags, level=level)
    totals = season.listened.sum(axis=0), season.heard.sum(axis=0)
    (value,) = _weighted_medians(season.days, *(total[None] for total in totals))
    flags = _few_flags(len(on))
    routes = len(season.listened)
    low = high = None
    draws: list[float] = []
    if routes > 1:
        times = rng.multinomial(routes, np.full(routes, 1 / routes), size=replicates)
        heard = times.astype(np.float64) @ season.heard
        some = heard.any(axis=1)
        listened = times[some].astype(np.float64) @ season.listened
        draws = _weighted_medians(season.days, listened, heard[some])
    else:
        flags = merge_flags(flags, (estimates.FEW_CLUSTERS,))
    if draws:
        low, high = (float(q) for q in np.quantile(draws, [(1 - level) / 2, (1 + level) / 2]))
    return Estimate(
        name=name,
        value=value,
        low=low,
        high=high,
        interval=f"route-bootstrap:{replicates}" if draws else "none",
        method=MEDIAN_METHOD,
        flags=flags,
        level=level,
    )


def _weighted_medians(days: IntArray, listened: FloatArray, heard: FloatArray) -> list[float]:
    """Day at which half of the calling lies behind, each listening day standing for its gap; of
    listening periods by day (N, D), every row by itself."""
    medians = np.empty(len(listened))
    patterns, pattern = np.unique(listened > 0, axis=0, return_inverse=True)
    for number, on in enumerate(patterns):
        rows = np.flatnonzero(pattern.ravel() == number)
        day = days[on].astype(np.float64)
        middle = (day[1:] + day[:-1]) / 2
        start = np.maximum(np.r_[day[0] - 0.5, middle], day - _WIDEST_HALF_GAP)
        end = np.minimum(np.r_[middle, day[-1] + 0.5], day + _WIDEST_HALF_GAP)
        calling = heard[rows][:, on] / listened[rows][:, on] * (end - start)
        behind = np.cumsum(calling, axis=1)
        half = behind[:, -1:] / 2
        at = (behind < half).sum(axis=1)
        here = np.arange(len(rows)), at
        share = (half[:, 0] - (behind[here] - calling[here])) / calling[here]
        medians[rows] = start[at] + share * (end[at] - start[at])
    return medians.tolist()


def _silent_flags(season: _Season) -> tuple[str, ...]:
    if not len(season.days):
        return (estimates.NO_EFFORT, estimates.TOO_FEW_DATA)
    return (estimates.NEVER_HEARD,)


def _few_flags(nights: int) -> tuple[str, ...]:
    return (estimates.TOO_FEW_DATA,) if nights < FEWEST_NIGHTS else ()
