"""How often the same surveys would have told a change where there is none.

The surveys of one species are simulated again and again: the same routes, stops, nights and gaps,
good and bad years that differ as much as they did, stops as like from year to year and within a
route as they were, and no change. Each time the trend is worked out as it was
for the data, under the models that were chosen for these. How often it then tells a fall or a rise
is the rate of false alarms of this very program.

200 runs of a species took 6 s of one core of a very busy machine at 20 routes of 10 stops over 20
years with 3 visits (13 s before searches of small programs began near their end, too), and 80 s at
600 routes.
"""

from __future__ import annotations

import zlib
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from scipy.special import expit, ndtri, owens_t

from surveys.trends.breaks import told_years
from surveys.trends.estimates import FEW_CLUSTERS, TOO_FEW_DATA, Estimate
from surveys.trends.histories import Histories, take
from surveys.trends.model_selection import (
    Choice,
    model_terms,
)
from surveys.trends.models.occupancy import visit_chances
from surveys.trends.models.trend import YEAR
from surveys.trends.models.year_trend import YearTrend
from surveys.trends.numerics.arrays import BoolArray, FloatArray, IntArray
from surveys.trends.numerics.intervals import wilson
from surveys.trends.periods import SpeciesPeriods
from surveys.trends.told_trend import TrendData, fit_told, told_data, trend_of

RUNS = 200
SEED = 20
# A trend with one of these is not told, whatever its interval.
_NOT_TOLD = {TOO_FEW_DATA, FEW_CLUSTERS}


@dataclass(frozen=True, kw_only=True)
class NullRun:
    """Of ``runs`` simulated surveys without a change, those that would have told a fall or a rise.

    ``runs`` is 0 where the trend of the data is not told, and nothing could be told by chance.
    ``whole`` is that of the whole program by the weights of its regions, None where that was not
    asked for.
    """

    runs: int
    fell: int
    rose: int
    whole: NullRun | None = None

    @property
    def alarms(self) -> Estimate:
        """Share of the runs that told a change, with its interval; nominal is 0.05."""
        return wilson(self.fell + self.rose, self.runs, name="false alarms of the null run")


@dataclass(frozen=True, kw_only=True)
class NullTruth:
    """What is simulated: ``level`` (rows,) of occupancy on the logit scale without good and bad
    years, whose standard deviation is ``scatter``; ``detection`` (rows, visits) with 0 where nobody
    listened; ``stay`` and ``alike``, the correlations of a stop's score with the year before and
    with other stops of its route, on the scale of a normal variable."""

    level: FloatArray
    scatter: float
    detection: FloatArray
    stay: float
    alike: float


def null_run(species: str, periods: SpeciesPeriods, *, runs: int = RUNS) -> NullRun:
    """Simulate the surveys of a species by stops without a change, and count what is told.

    Parameters
    ----------
    species
        Its name, which also seeds the random numbers: the same data give the same answer.
    periods
        Its listening periods.
    runs
        How many surveys to simulate.

    Returns
    -------
    NullRun

    Examples
    --------
    >>> from surveys.trends.example import example_periods
    >>> told = null_run("Pseudacris crucifer", example_periods(), runs=20)
    >>> told.runs, told.fell + told.rose <= 4
    (20, True)
    """
    data = told_seasons(periods)
    histories, covariates, choice = data.histories, data.covariates, data.choice
    trend = trend_of(data)
    if _direction(trend) is None:
        return NullRun(runs=0, fell=0, rose=0)
    truth = null_truth(histories, covariates, choice, trend)
    rng = np.random.default_rng([SEED, zlib.crc32(species.encode())])
    near = without_change(trend)
    told = [
        _direction(fit_again(data, near, simulated(histories, truth, rng))) for _ in range(runs)
    ]
    return NullRun(runs=runs, fell=told.count("fell"), rose=told.count("rose"))


def without_change(trend: YearTrend) -> YearTrend:
    """Where fits of simulated surveys begin: as the data were fitted, but with all years alike."""
    levels = trend.levels
    middle = float(np.mean(levels.levels))
    found = {
        name: middle if name.startswith(f"occupancy: {YEAR} ") else value
        for name, value in levels.found.items()
    }
    return replace(trend, levels=replace(levels, found=found))


def fit_again(data: TrendData, near: YearTrend, drawn: FloatArray) -> YearTrend:
    """The trend of simulated surveys (rows, visits), searched from near by."""
    everything = np.ones(len(drawn), dtype=np.bool_)
    return fit_told(data, rows=everything, like=near, like_if_small=True, detected=drawn)


def told_seasons(periods: SpeciesPeriods) -> TrendData:
    """What the trend rests on, without the seasons that a break leaves out of it."""
    data = told_data(periods, "stop")
    listened = ~np.isnan(data.histories.detected).all(axis=1)
    years = np.unique(data.histories.season_year[listened]).tolist()
    kept = told_years(years, data.breaks.years)
    if len(kept) == len(years):
        return data
    rows = np.isin(periods.columns.season_year, kept)
    told = replace(
        periods,
        columns=take(periods.columns, rows),
        day=periods.day[rows],
        in_season=periods.in_season[rows],
    )
    return told_data(told, "stop")


def _direction(trend: YearTrend) -> str | None:
    """`fell`, `rose` or `none`; None where the trend is not told at all."""
    if trend.line is None or _NOT_TOLD & set(trend.flags):
        return None
    low, high = trend.line.limits
    return "fell" if high < 0 else "rose" if low > 0 else "none"


def null_truth(
    histories: Histories, covariates: Mapping[str, FloatArray], choice: Choice, trend: YearTrend
) -> NullTruth:
    """What the data say of levels, years, detection and scores, with the slope taken out; without
    a line, the mean level, and no scatter of years."""
    middle, scatter = float(np.mean(trend.levels.levels)), 0.0
    if trend.line is not None:
        middle, scatter = trend.line.level, trend.line.scatter
    terms = model_terms(
        histories, covariates, choice.detection, tuple(choice.site_covariates.values())
    )
    listened = ~np.isnan(histories.detected)
    possible = np.ones(len(listened), dtype=np.bool_)
    if terms["empty"] is not None:
        possible = ~terms["empty"]
    fitted = possible & listened.any(axis=1)
    level = np.full(len(listened), -np.inf)
    level[fitted] = middle + trend.levels.offsets
    fit = choice.trend.fit
    chance = np.zeros(listened.shape)
    if fit.maximum is not None:
        chance[fitted] = visit_chances(fit)
    detection = np.where(listened, chance, 0.0)
    share = expit(level)
    stay, alike = _correlations(histories, share, detection)
    return NullTruth(level=level, scatter=scatter, detection=detection, stay=stay, alike=alike)


def simulated(
    histories: Histories,
    truth: NullTruth,
    rng: np.random.Generator,
    *,
    good_years: Mapping[int, float] | None = None,
) -> FloatArray:
    """Histories (rows, visits) of one program without a change. ``good_years`` are the scores of
    its season years, with a standard deviation of 1, where others share them."""
    years, year = np.unique(histories.season_year, return_inverse=True)
    steps = np.diff(years, prepend=years[0])
    _, site = np.unique(histories.site, return_inverse=True)
    routes, route = np.unique(histories.cluster, return_inverse=True)
    own = _correlated_scores(rng, int(site.max()) + 1, steps, truth.stay)[site, year]
    shared = _correlated_scores(rng, len(routes), steps, truth.stay)[route, year]
    score = np.sqrt(truth.alike) * shared + np.sqrt(1 - truth.alike) * own
    if good_years is None:
        good = rng.normal(0.0, truth.scatter, len(years))
    else:
        good = truth.scatter * np.array([good_years[one] for one in years.tolist()])
    occupied = score < ndtri(expit(truth.level + good[year]))
    heard = rng.random(truth.detection.shape) < truth.detection
    history = (heard & occupied[:, None]).astype(np.float64)
    return np.where(np.isnan(histories.detected), np.nan, history)


def _correlated_scores(
    rng: np.random.Generator, count: int, steps: IntArray, stay: float
) -> FloatArray:
    """Normal scores (count, years) whose correlation over n years is ``stay`` to the power n."""
    score = rng.normal(size=(count, len(steps)))
    for at in range(1, len(steps)):
        kept = stay ** int(steps[at])
        score[:, at] = kept * score[:, at - 1] + np.sqrt(1 - kept**2) * score[:, at]
    return score


def _correlations(
    histories: Histories, share: FloatArray, detection: FloatArray
) -> tuple[float, float]:
    """Correlation of scores with the year before, and between stops of a route, by moments.

    Whether a site was heard at all has mean ``share * seen``; the products of two residuals tell
    how often both were occupied.
    """
    seen = 1 - np.prod(1 - detection, axis=1)
    heard = np.nan_to_num(histories.detected).max(axis=1, initial=0.0)
    residual = heard - share * seen
    usable = (share > 0) & (seen > 0)
    _, site = np.unique(histories.site, return_inverse=True)
    order = np.lexsort((histories.season_year, site))
    first, second = order[:-1], order[1:]
    next_year = (site[first] == site[second]) & (
        histories.season_year[second] - histories.season_year[first] == 1
    )
    pairs = next_year & usable[first] & usable[second]
    stay = _correlation(residual, share, seen, first[pairs], second[pairs])
    return stay, _correlation_within_routes(histories, residual, share, seen, usable)


def _correlation_within_routes(
    histories: Histories,
    residual: FloatArray,
    share: FloatArray,
    seen: FloatArray,
    usable: BoolArray,
) -> float:
    """Over all pairs of stops of a route in a year: sums of the route less what is a stop's own."""
    _, route = np.unique(histories.cluster, return_inverse=True)
    group = np.unique(np.column_stack([route, histories.season_year]), axis=0, return_inverse=True)[
        1
    ].ravel()

    def of_pairs(values: FloatArray) -> float:
        kept = np.where(usable, values, 0.0)
        total = np.bincount(group, weights=kept)
        return float((total @ total - kept @ kept) / 2)

    pairs = of_pairs(usable.astype(np.float64))
    if pairs == 0:
        return 0.0
    together = of_pairs(residual) / pairs
    scale = of_pairs(np.sqrt(share * (1 - share)) * seen) / pairs
    return _on_normal_scale(together / scale if scale > 0 else 0.0, float(share[usable].mean()))


def _correlation(
    residual: FloatArray, share: FloatArray, seen: FloatArray, one: IntArray, other: IntArray
) -> float:
    if not len(one):
        return 0.0
    together = float(np.mean(residual[one] * residual[other]))
    spread = np.sqrt(share * (1 - share)) * seen
    scale = float(np.mean(spread[one] * spread[other]))
    return _on_normal_scale(together / scale if scale > 0 else 0.0, float(share[one].mean()))


def _on_normal_scale(correlation: float, share: float) -> float:
    """The correlation of two normal variables whose signs at the quantile of ``share`` have this
    correlation (tetrachoric); none below 0.

    That both are below the same number follows from the T function of Owen (1956, Annals of
    Mathematical Statistics 27:1075-1090).
    """
    wanted = float(np.clip(correlation, 0.0, 0.98))
    if wanted == 0.0:
        return 0.0
    cut = float(ndtri(share))
    low, high = 0.0, 0.999
    for _ in range(30):
        middle = (low + high) / 2
        both = share - 2 * owens_t(cut, np.sqrt((1 - middle) / (1 + middle)))
        low, high = (
            (middle, high) if both - share**2 < wanted * share * (1 - share) else (low, middle)
        )
    return (low + high) / 2
