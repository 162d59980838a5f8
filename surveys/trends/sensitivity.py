"""How much a trend depends on choices that another analyst could have made otherwise.

Each line tells the change per year under one other choice. A line that has nothing to leave out has
the told change again, and is marked so.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from surveys.trends.choices import (
    ALL_DATA,
    BY_ABUNDANCE,
    BY_ROUTE,
    CONFIRMED,
    CORRELATED,
    EVERY_SEASON,
    FALSE_CALLS,
    NO_CHANGE_YEARS,
    NO_FIRST_SEASON,
    NO_FIRST_YEARS,
    TWO_CLASSES,
)
from surveys.trends.community import is_told
from surveys.trends.estimates import (
    LEVEL_NOT_KNOWN,
    NOT_IDENTIFIED,
    TOO_FEW_DATA,
    Estimate,
    flagged,
    not_estimable,
)
from surveys.trends.histories import build_histories
from surveys.trends.models.false_rate import false_rate
from surveys.trends.models.level_models import (
    by_abundance,
    in_two_classes,
    with_certain,
    with_false_rate,
)
from surveys.trends.models.year_correlation import slope_with_correlated_years
from surveys.trends.models.year_trend import METHOD, YearTrend, summarize_year_trend
from surveys.trends.numerics.arrays import BoolArray, FloatArray, distinct, numbered
from surveys.trends.periods import SpeciesPeriods
from surveys.trends.species_result import SensitivityLine
from surveys.trends.told_trend import TrendData, fit_told, told_data, trend_of
from surveys.trends.unequal_contest import adds_too_many_sites

# False positives were 5 % of detections, 0.5 to 14 % an observer, in McClintock et al. 2010,
# Journal of Wildlife Management 74:1882-1893, and 8.1 % in Miller et al. 2012, Ecological
# Applications 22:1665-1674.
_FALSE_SHARE = 0.05
# Common practice, no source: fewer certain detections say nothing of the others.
FEWEST_CERTAIN = 20
_FIRST_YEARS = 2


def sensitivity(
    data: TrendData, told: Estimate, fit: YearTrend, periods: SpeciesPeriods
) -> tuple[SensitivityLine, ...]:
    """The lines of the table, the told change first.

    Parameters
    ----------
    data, fit
        What the trend rests on, and its line.
    told
        The percent change of the share of sites a year, as it is told.
    periods
        The listening periods behind it.

    Returns
    -------
    tuple of SensitivityLine
        A choice that the data cannot carry has a line without a number, with flags.
    """
    histories = data.histories
    everything = np.ones(len(histories.site), dtype=np.bool_)

    def line(name: str, rows: BoolArray, detected: FloatArray | None = None) -> SensitivityLine:
        if detected is None and rows.all():
            return replace(first, name=name, applies=False)
        other = fit_told(data, rows=rows, like=fit, detected=detected)
        return _line(name, other, summarize_year_trend(other).occupancy)

    first = _line(ALL_DATA, fit, told)
    return (
        first,
        line(EVERY_SEASON, _in_every_season(data)),
        line(NO_FIRST_SEASON, everything, _without_first_seasons(data)),
        line(NO_CHANGE_YEARS, ~np.isin(histories.season_year, data.breaks.years)),
        line(NO_FIRST_YEARS, _after_first_years(data)),
        _line(CORRELATED, fit, _correlated(fit)),
        *other_detection_forms(data, fit),
        _as_confirmed(data, fit),
        *_by_route(data, periods),
    )


def _line(name: str, fit: YearTrend, change: Estimate) -> SensitivityLine:
    return SensitivityLine(
        name=name,
        change=replace(change, name=f"% change in share of sites per year, {name}"),
        routes=fit.levels.routes,
        seasons=len(fit.levels.years),
    )


def _in_every_season(data: TrendData) -> BoolArray:
    """Rows of the routes that were listened to in every season with effort."""
    listened = ~np.isnan(data.histories.detected).all(axis=1)
    routes, route = numbered(data.histories.cluster)
    years, year = numbered(data.histories.season_year[listened])
    pairs = distinct(route[listened] * max(len(years), 1) + year)
    seasons = np.bincount(pairs // max(len(years), 1), minlength=len(routes))
    always: BoolArray = (seasons == len(years))[route]
    return always


def _after_first_years(data: TrendData) -> BoolArray:
    """Rows from the third season of their route on."""
    _, route = numbered(data.histories.cluster)
    years, year = numbered(data.histories.season_year)
    pairs, pair = numbered(route * max(len(years), 1) + year)
    of_pair = pairs // max(len(years), 1)
    begun = np.searchsorted(of_pair, of_pair)
    later: BoolArray = (np.arange(len(pairs)) - begun >= _FIRST_YEARS)[pair]
    return later


def _without_first_seasons(data: TrendData) -> FloatArray | None:
    """Detections without the visits of observers in their first season; None where there are none.

    Of the first season of the program nobody knows who was new, so it stays.
    """
    season = data.season
    if season.first_season is None or not len(season.season_year):
        return None
    new = season.first_season & (season.season_year > season.season_year.min())
    if not new.any():
        return None
    unheard = np.where(new, np.nan, season.heard)
    return build_histories(
        replace(season, heard=unheard, call_index=unheard, covariates={}), site=data.site
    ).detected


def _correlated(fit: YearTrend) -> Estimate:
    line = None
    if fit.line is not None:
        line = slope_with_correlated_years(fit.levels, breaks=fit.line.breaks)
    if line is None:
        return not_estimable(CORRELATED, method=METHOD, flags=fit.flags)
    change = summarize_year_trend(replace(fit, line=line)).occupancy
    return replace(change, interval="mixture-of-correlations")


def other_detection_forms(data: TrendData, fit: YearTrend) -> Iterator[SensitivityLine]:
    """With mistakes of the ear, and with sites that differ in how well they are heard."""
    everything = np.ones(len(data.histories.site), dtype=np.bool_)
    rate = false_rate(data.choice.trend.fit, _FALSE_SHARE)
    forms = {
        FALSE_CALLS: None if rate is None else with_false_rate(rate),
        TWO_CLASSES: in_two_classes,
        BY_ABUNDANCE: by_abundance,
    }
    for name, form in forms.items():
        if form is not None:
            other = fit_told(data, rows=everything, like=fit, form=form)
            change = summarize_year_trend(other).occupancy
            if name == TWO_CLASSES and adds_too_many_sites(other.levels, data.choice.trend.fit):
                change = flagged(change, LEVEL_NOT_KNOWN)
            yield _line(name, other, change)


def _as_confirmed(data: TrendData, fit: YearTrend) -> SensitivityLine:
    """With as many false detections as the confirmed ones tell; without these nothing does."""
    certain, checked = data.histories.certain, data.histories.checked
    confirmed = 0 if certain is None else int(certain.sum())
    if certain is None or confirmed < FEWEST_CERTAIN:
        why = TOO_FEW_DATA if confirmed else NOT_IDENTIFIED
        return _line(CONFIRMED, fit, not_estimable(CONFIRMED, method=METHOD, flags=(why,)))
    everything = np.ones(len(data.histories.site), dtype=np.bool_)
    other = fit_told(data, rows=everything, like=fit, form=with_certain(certain, checked))
    return _line(CONFIRMED, other, summarize_year_trend(other).occupancy)


def _by_route(data: TrendData, periods: SpeciesPeriods) -> Iterator[SensitivityLine]:
    if data.site != "stop":
        return
    fit = trend_of(told_data(periods, "route", breaks=data.breaks))
    yield _line(BY_ROUTE, fit, summarize_year_trend(fit).occupancy)


def sites_disagree(lines: tuple[SensitivityLine, ...]) -> bool:
    """Whether a change is clear by stop or by route and the other one says something else."""
    by_route = [line.change for line in lines if line.name == BY_ROUTE]
    if not by_route:
        return False
    signs = [_sign(change) for change in (lines[0].change, *by_route)]
    return None not in signs and signs[0] != signs[1]


def _sign(change: Estimate) -> int | None:
    """-1 or 1 where the interval leaves out zero, 0 where it holds it, None where none is told."""
    low, high = change.low, change.high
    if low is None or high is None or not is_told(change):
        return None
    return (low > 0) - (high < 0)
