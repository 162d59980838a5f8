"""How often the surveys would have told a change of the whole program where there is none.

As in ``null_run``, but region by region: each is simulated as its own surveys were, without a
change, and the regions go together by their weights as they do for the data. A good year is one in
all regions, each by as much as its own years scatter: good years that each region has for itself
would even out, and make the rate of false alarms look better than it is. A region without a line of
its own scatters as much as the one that scatters most. One in which the species was never heard
stays silent.
"""

from __future__ import annotations

import zlib
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from surveys.trends.community import is_told
from surveys.trends.estimates import Estimate
from surveys.trends.models.strata import Stratum
from surveys.trends.models.year_trend import YearTrend
from surveys.trends.null_run import (
    RUNS,
    SEED,
    NullRun,
    NullTruth,
    fit_again,
    null_truth,
    simulated,
    told_seasons,
    without_change,
)
from surveys.trends.periods import SpeciesPeriods, in_region
from surveys.trends.silent_regions import SurveyedRegion
from surveys.trends.told_trend import TrendData, fit_told
from surveys.trends.whole_program import refusals, regions_of, weights_of, whole_program

_NOTHING = NullRun(runs=0, fell=0, rose=0)


@dataclass(frozen=True, kw_only=True)
class _Region:
    """A region as it was surveyed; ``truth`` is None where the species was never heard."""

    weight: float
    data: TrendData
    trend: YearTrend
    truth: NullTruth | None

    def surveyed(self, rng: np.random.Generator, good_years: dict[int, float]) -> SurveyedRegion:
        """The region in one simulated program without a change."""
        if self.truth is None:
            return self.as_it_was()
        histories = self.data.histories
        drawn = simulated(histories, self.truth, rng, good_years=good_years)
        again = fit_again(self.data, without_change(self.trend), drawn)
        return SurveyedRegion(
            stratum=Stratum(weight=self.weight, levels=again.levels),
            histories=replace(histories, detected=drawn),
            fit=self.data.choice.trend.fit,
        )

    def as_it_was(self) -> SurveyedRegion:
        """The region in the data."""
        return SurveyedRegion(
            stratum=Stratum(weight=self.weight, levels=self.trend.levels),
            histories=self.data.histories,
            fit=self.data.choice.trend.fit,
        )


def whole_null_run(species: str, periods: SpeciesPeriods, *, runs: int = RUNS) -> NullRun:
    """Simulate the surveys of a species in all regions without a change, and count what is told of
    the whole program.

    Parameters
    ----------
    species, periods, runs
        As ``null_run`` takes them.

    Returns
    -------
    NullRun
        Of 0 runs where the program gives its regions no weights, or nothing is told of the whole.

    Examples
    --------
    >>> from surveys.trends.example import example_periods
    >>> periods = example_periods(weights={"North": 1.0, "South": 3.0})
    >>> told = whole_null_run("Pseudacris crucifer", periods, runs=10)
    >>> told.runs, told.fell + told.rose <= 3
    (10, True)
    """
    weights = weights_of(periods)
    if not weights or refusals(periods):
        return _NOTHING
    regions = [_region(in_region(periods, name), weight) for name, weight in weights.items()]
    breaks = tuple(sorted({year for region in regions for year in region.data.breaks.years}))
    if _direction([region.as_it_was() for region in regions], breaks) is None:
        return _NOTHING
    regions = _with_scatter(regions)
    years = {year for region in regions for year in region.data.histories.season_year.tolist()}
    rng = np.random.default_rng([SEED, zlib.crc32(species.encode()), len(regions)])
    told: list[str | None] = []
    for _ in range(runs):
        good_years = {year: float(rng.normal()) for year in sorted(years)}
        told.append(_direction([region.surveyed(rng, good_years) for region in regions], breaks))
    return NullRun(runs=runs, fell=told.count("fell"), rose=told.count("rose"))


def _region(periods: SpeciesPeriods, weight: float) -> _Region:
    data = told_seasons(periods)
    trend = fit_told(data, rows=np.ones(len(data.histories.site), dtype=np.bool_))
    known = trend.levels.covariance is not None
    truth = null_truth(data.histories, data.covariates, data.choice, trend) if known else None
    return _Region(weight=weight, data=data, trend=trend, truth=truth)


def _with_scatter(regions: Sequence[_Region]) -> list[_Region]:
    most = max((region.trend.line.scatter for region in regions if region.trend.line), default=0.0)
    return [
        replace(region, truth=replace(region.truth, scatter=most))
        if region.truth and region.trend.line is None
        else region
        for region in regions
    ]


def _direction(surveyed: Sequence[SurveyedRegion], breaks: tuple[int, ...]) -> str | None:
    """`fell`, `rose` or `none` of the whole program; None where nothing is told of it."""
    change: Estimate = whole_program(regions_of(surveyed, breaks=breaks)).change
    if change.low is None or change.high is None or not is_told(change):
        return None
    return "fell" if change.high < 0 else "rose" if change.low > 0 else "none"
