"""The trend of one species as it is told: which seasons it rests on, and what limits it.

A season that is not over is left out. Where listening changed, the line has a step; a side of a
change with hardly any seasons is left out too.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from surveys.trends import estimates
from surveys.trends.breaks import Breaks, find_breaks, steps_within, told_years
from surveys.trends.effects import odds_ratios, silent_kinds
from surveys.trends.estimates import EDGE_OF_RANGE, POOR_FIT, Estimate, flagged, merge_flags
from surveys.trends.histories import (
    Histories,
    PeriodColumns,
    Site,
    build_histories,
    select_rows,
    take,
)
from surveys.trends.model_selection import (
    MOST_FILLED,
    Choice,
    Terms,
    choose_trend,
    fill_with_mean,
    in_order_of_models,
    level_model,
    model_terms,
)
from surveys.trends.models.goodness_of_fit import GoodnessOfFit
from surveys.trends.models.level_models import LevelModel, equal_detection
from surveys.trends.models.likely_levels import likely_levels
from surveys.trends.models.needed_effort import needed_effort
from surveys.trends.models.year_levels import YearLevels
from surveys.trends.models.year_trend import (
    YearTrend,
    fit_year_trend,
    pooled_trend,
    summarize_year_trend,
    year_scatter,
    year_trend_line,
)
from surveys.trends.numerics.arrays import BoolArray, FloatArray, IntArray, distinct
from surveys.trends.numerics.visit_columns import of_rows, visit_columns
from surveys.trends.periods import HEARD, SpeciesPeriods, calling_season
from surveys.trends.site_covariates import site_covariates
from surveys.trends.species_result import Trend

NAIVE_TREND = "uncorrected-line"


@dataclass(frozen=True, kw_only=True)
class TrendData:
    """What the trend of a species rests on: seasons that are over, and the models chosen for them.

    ``season`` are the listening periods behind the histories. ``covariates`` of visits have means
    in place of what is missing; ``filled`` says how often.
    """

    site: Site
    season: PeriodColumns
    histories: Histories
    covariates: Mapping[str, FloatArray]
    choice: Choice
    breaks: Breaks
    chosen_where_heard: bool
    filled: tuple[tuple[str, float], ...]


def told_data(periods: SpeciesPeriods, site: Site, *, breaks: Breaks | None = None) -> TrendData:
    """The histories of the seasons that are over, with the models that are chosen for them;
    ``breaks`` where they are known."""
    season = calling_season(periods)
    if periods.open_year is not None:
        season = take(season, season.season_year != periods.open_year)
    histories = build_histories(season, site=site)
    covariates, filled = fill_with_mean(histories)
    candidates = {
        name: covariate
        for name, covariate in site_covariates(histories, season, periods.stops, site).items()
        if covariate.filled <= MOST_FILLED
    }
    columns = visit_columns(
        histories.detected, in_order_of_models(covariates), histories.season_year
    )
    choice = choose_trend(histories, columns, candidates)
    filled |= {
        name: covariate.filled
        for name, covariate in choice.site_covariates.items()
        if covariate.filled
    }
    return TrendData(
        site=site,
        season=season,
        histories=histories,
        covariates=columns,
        choice=choice,
        breaks=breaks or find_breaks(season, periods.in_use),
        chosen_where_heard=HEARD in periods.chosen.values(),
        filled=tuple(sorted(filled.items())),
    )


def told_trend(data: TrendData, fit: YearTrend, check: GoodnessOfFit | None) -> Trend:
    """What is told of the line through yearly levels (`trend_of`)."""
    histories, choice, breaks = data.histories, data.choice, data.breaks
    poor = (POOR_FIT,) if check and POOR_FIT in check.p.flags else ()
    where_heard = (estimates.CHOSEN_WHERE_HEARD,) if data.chosen_where_heard else ()
    flags = (*poor, *breaks.flags, *season_flags(histories), *where_heard)
    change = summarize_year_trend(fit)
    naive = _naive_trend(histories, breaks.years)
    years = fit.levels.years.tolist()
    return Trend(
        log_odds=flagged(change.log_odds, *flags),
        occupancy=flagged(change.occupancy, *flags),
        points=flagged(change.points, *flags),
        scatter=year_scatter(fit),
        pooled=flagged(summarize_year_trend(pooled_trend(fit)).occupancy, *flags),
        line=year_trend_line(fit),
        naive=replace(
            flagged(_as_naive(summarize_year_trend(naive).occupancy), *breaks.flags),
            name="trend of the plain share, % change per year",
        ),
        naive_line=tuple((year, _as_naive(share)) for year, share in year_trend_line(naive)),
        first_year=years[0] if years else None,
        last_year=years[-1] if years else None,
        breaks=breaks.years,
        detection_model=choice.detection,
        detection_models=choice.detection_models,
        occupancy_model=choice.occupancy,
        occupancy_models=choice.occupancy_models,
        effects=odds_ratios(choice),
        silent_kinds=silent_kinds(choice, histories),
        needed=needed_effort(fit),
    )


def season_flags(histories: Histories) -> tuple[str, ...]:
    """What the seasons themselves limit: years without effort, years of single visits."""
    visits = (~np.isnan(histories.detected)).sum(axis=1)
    listened = visits > 0
    years, year = np.unique(histories.season_year[listened], return_inverse=True)
    most = np.zeros(len(years), dtype=np.int64)
    np.maximum.at(most, year, visits[listened])
    gaps = len(years) > 0 and len(years) <= int(years[-1] - years[0])
    once = len(years) > 0 and int(most.min()) == 1 < int(most.max())
    return (
        *((estimates.GAP_YEARS,) if gaps else ()),
        *((estimates.ONE_VISIT,) if once else ()),
    )


def chosen_year_trend(
    histories: Histories,
    covariates: Mapping[str, FloatArray],
    choice: Choice,
    *,
    breaks: Sequence[int] = (),
) -> YearTrend:
    """The change within routes under the models that were chosen.

    Parameters
    ----------
    histories, covariates
        What ``choose_trend`` was given.
    choice
        What it chose.
    breaks
        Season years from which on the protocol or the list of stops was another. Of fewer than
        three seasons on one side only the other is fitted, and a flag says so.

    Returns
    -------
    YearTrend

    Examples
    --------
    >>> import numpy as np
    >>> from surveys.trends.histories import Histories
    >>> from surveys.trends.model_selection import choose_trend
    >>> rng = np.random.default_rng(1)
    >>> rows = np.arange(400)
    >>> heard = ((rng.random(400) < 0.5)[:, None] & (rng.random((400, 3)) < 0.6)).astype(float)
    >>> histories = Histories(
    ...     site=rows % 50, cluster=rows % 10, season_year=2015 + rows // 50, detected=heard,
    ...     call_index=heard, night=np.full(heard.shape, np.nan))
    >>> trend = chosen_year_trend(histories, {}, choose_trend(histories, {}, {}))
    >>> low, high = trend.line.limits
    >>> bool(low < 0 < high)
    True
    """
    terms = model_terms(
        histories, covariates, choice.detection, tuple(choice.site_covariates.values())
    )
    return _fit_told(
        histories.detected,
        histories,
        terms,
        breaks,
        model=level_model(choice.detection),
        like=likely_levels(choice.trend),
    )


def trend_of(data: TrendData) -> YearTrend:
    """The line through yearly levels, under the models that were chosen with a straight line."""
    return chosen_year_trend(data.histories, data.covariates, data.choice, breaks=data.breaks.years)


def fit_told(
    data: TrendData,
    *,
    rows: BoolArray,
    detected: FloatArray | None = None,
    form: LevelModel | None = None,
    like: YearTrend | None = None,
    like_if_small: bool = False,
) -> YearTrend:
    """The same from some rows, with other detections, or under another form of detection; without
    the pooled line. ``form`` counts rows as ``data.histories`` does; the search begins at what
    ``like`` found, in small programs only with ``like_if_small``."""
    histories, choice = data.histories, data.choice
    terms = model_terms(
        histories, data.covariates, choice.detection, tuple(choice.site_covariates.values())
    )
    heard = histories.detected if detected is None else detected
    return _fit_told(
        heard[rows],
        # Covariates are in the terms; a copy of those that are not in the model would take long.
        select_rows(replace(histories, visit_covariates={}), rows),
        terms_of(terms, rows),
        data.breaks.years,
        model=(form or level_model(choice.detection)).of(np.flatnonzero(rows)),
        with_pooled=False,
        like=None if like is None else like.levels,
        like_if_small=like_if_small,
    )


def _fit_told(
    detected: FloatArray,
    histories: Histories,
    terms: Terms,
    breaks: Sequence[int],
    *,
    model: LevelModel = equal_detection,
    with_pooled: bool = True,
    like: YearLevels | Mapping[str, float] | None = None,
    like_if_small: bool = False,
) -> YearTrend:
    """The trend over the seasons that carry one. Rows are those of the histories."""
    listened = ~np.isnan(detected).all(axis=1)
    years = distinct(histories.season_year[listened]).tolist()
    told = told_years(years, breaks)
    rows = np.isin(histories.season_year, told)
    trend = fit_year_trend(
        detected[rows],
        histories.season_year[rows],
        histories.cluster[rows],
        **terms_of(terms, rows),
        sites=histories.site[rows],
        breaks=steps_within(told, breaks),
        model=model.of(np.flatnonzero(rows)),
        with_pooled=with_pooled,
        like=like,
        like_if_small=like_if_small,
    )
    if len(told) == len(years):
        return trend
    return replace(trend, flags=merge_flags(trend.flags, (estimates.YEARS_LEFT_OUT,)))


def terms_of(terms: Terms, rows: BoolArray | IntArray) -> Terms:
    """The terms of some rows."""
    empty = terms["empty"]
    return {
        "occupancy": of_rows(terms["occupancy"], rows),
        "detection": of_rows(terms["detection"], rows),
        "detection_by_year": terms["detection_by_year"],
        "empty": None if empty is None else empty[rows],
    }


def _naive_trend(histories: Histories, breaks: Sequence[int]) -> YearTrend:
    """The change of the share of sites where the species was heard.

    A season written down twice leaves nothing to detection: the levels of the years are then those
    of the logistic regression of "heard at all", with their standard errors clustered.
    """
    heard = np.where(
        np.isnan(histories.detected).all(axis=1),
        np.nan,
        (np.nan_to_num(histories.detected) > 0).any(axis=1),
    )
    twice = np.column_stack([heard, heard])
    plain: Terms = {"occupancy": {}, "detection": {}, "detection_by_year": False, "empty": None}
    return _fit_told(twice, histories, plain, breaks)


def _as_naive(estimate: Estimate) -> Estimate:
    """An estimate of the naive trend under its own name of method.

    Detection at the edge of its range is how that model is built, so it is no flag of the estimate.
    """
    flags = estimate.flags
    if estimate.low is not None and estimate.high is not None:
        flags = tuple(flag for flag in flags if flag != EDGE_OF_RANGE)
    return replace(estimate, method=NAIVE_TREND, flags=flags)
