"""One species, from its listening periods to everything that is stored of it.

Occupancy models see the calling season only. Their detection models are tried from the simplest
on and chosen by AIC; the fits of single years use as much of the chosen one as the detections of
the year can carry.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from surveys.trends.effects import odds_ratios, silent_kinds
from surveys.trends.estimates import EDGE_OF_RANGE, POOR_FIT, Estimate, flagged
from surveys.trends.histories import Histories, Site, build_histories, select_rows
from surveys.trends.model_selection import (
    DETECTION,
    MOST_FILLED,
    Choice,
    carries,
    choose_trend,
    fill_with_mean,
    level_model,
    model_terms,
    nested_in,
    rarer_outcome,
)
from surveys.trends.models.call_index import fit_call_index, summarize_groups
from surveys.trends.models.dynamic import dynamic_chance, equilibrium_occupancy, fit_dynamic
from surveys.trends.models.goodness_of_fit import (
    GoodnessOfFit,
    goodness_of_fit,
    quasi,
    quasi_level,
)
from surveys.trends.models.occupancy import OccupancyFit, fit_occupancy
from surveys.trends.models.occupancy_estimates import detection_share, occupancy_share
from surveys.trends.models.phenology import calling_nights
from surveys.trends.models.phenology_shift import shift_of_season
from surveys.trends.models.year_trend import (
    YearTrend,
    fit_year_trend,
    pooled_trend,
    summarize_year_trend,
    year_scatter,
    year_trend_line,
)
from surveys.trends.numerics.arrays import FloatArray
from surveys.trends.periods import SpeciesPeriods, calling_season
from surveys.trends.site_covariates import site_covariates
from surveys.trends.species_result import (
    Effort,
    IndexYear,
    Phenology,
    SpeciesResult,
    SpeciesYear,
    Trend,
    Turnover,
)
from surveys.trends.table import count_years

NAIVE_TREND = "line through the yearly shares heard, within routes, not corrected for detection"
LEVEL = 0.95
_SEED = 1
_REPLICATES = 200


@dataclass(frozen=True, kw_only=True)
class Parts:
    """What to work out beside the yearly values and the trend."""

    fit_check: bool = True
    turnover: bool = True
    index: bool = True
    phenology: bool = True


def analyze(species: str, periods: SpeciesPeriods, *, site: Site, parts: Parts) -> SpeciesResult:
    """Everything the fits say of one species.

    Parameters
    ----------
    species
        Name of the species.
    periods
        Its listening periods, with those of its calling season marked.
    site
        Whether a site is a stop or a whole route.
    parts
        What to work out beside the yearly values and the trend.

    Returns
    -------
    SpeciesResult
        Sparse data never raise: flags say what the data cannot carry.

    Examples
    --------
    >>> import numpy as np
    >>> from surveys.trends.histories import PeriodColumns
    >>> rng = np.random.default_rng(1)
    >>> stop, year, visit = (axis.ravel() for axis in np.indices((60, 6, 3)))
    >>> heard = (rng.random((60, 6)) < 0.6)[stop, year] & (rng.random(len(stop)) < 0.5)
    >>> columns = PeriodColumns(
    ...     route=stop // 5, stop=stop, season_year=2019 + year,
    ...     night=365 * (2019 + year) + 30 * visit, visit_number=visit + 1,
    ...     call_index=heard.astype(float), heard=heard.astype(float),
    ... )
    >>> periods = SpeciesPeriods(
    ...     columns=columns, day=30 * visit, in_season=np.ones(len(stop), dtype=bool), stops={}
    ... )
    >>> result = analyze("Pseudacris crucifer", periods, site="stop", parts=Parts(fit_check=False))
    >>> [year.season_year for year in result.years]
    [2019, 2020, 2021, 2022, 2023, 2024]
    >>> bool(result.trend.occupancy.low < 0 < result.trend.occupancy.high)
    True
    """
    season = calling_season(periods)
    histories = build_histories(season, site=site)
    covariates, filled = fill_with_mean(histories)
    candidates = {
        name: covariate
        for name, covariate in site_covariates(histories, season, periods.stops, site).items()
        if covariate.filled <= MOST_FILLED
    }
    choice = choose_trend(histories, covariates, candidates)
    filled |= {
        name: covariate.filled
        for name, covariate in choice.site_covariates.items()
        if covariate.filled
    }
    check = goodness_of_fit(choice.trend.fit, seed=_SEED) if parts.fit_check else None
    c_hat = max(check.c_hat.value or 1.0, 1.0) if check else 1.0
    return SpeciesResult(
        years=tuple(_years(species, periods, histories, covariates, choice, c_hat)),
        trend=_trend(histories, covariates, choice, check),
        fit_check=check,
        turnover=_turnover(histories, covariates, choice.detection_covariates, site)
        if parts.turnover
        else None,
        index=_index(histories) if parts.index else None,
        phenology=_phenology(periods) if parts.phenology else None,
        filled=tuple(sorted(filled.items())),
    )


def _trend(
    histories: Histories,
    covariates: Mapping[str, FloatArray],
    choice: Choice,
    check: GoodnessOfFit | None,
) -> Trend:
    """The line through yearly levels, under the model that was chosen with a straight line."""
    poor = (POOR_FIT,) if check and POOR_FIT in check.p.flags else ()
    fit = chosen_year_trend(histories, covariates, choice)
    change, naive = summarize_year_trend(fit), _naive_trend(histories)
    return Trend(
        log_odds=flagged(change.log_odds, *poor),
        occupancy=flagged(change.occupancy, *poor),
        points=flagged(change.points, *poor),
        scatter=year_scatter(fit),
        pooled=flagged(summarize_year_trend(pooled_trend(fit)).occupancy, *poor),
        line=year_trend_line(fit),
        naive=replace(
            _as_naive(summarize_year_trend(naive).occupancy),
            name="trend of the plain share, % change per year",
        ),
        naive_line=tuple((year, _as_naive(share)) for year, share in year_trend_line(naive)),
        detection_model=choice.detection,
        detection_models=choice.detection_models,
        occupancy_model=choice.occupancy,
        occupancy_models=choice.occupancy_models,
        effects=odds_ratios(choice),
        silent_kinds=silent_kinds(choice, histories),
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
        Season years from which on the protocol or the list of stops was another.

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
    return fit_year_trend(
        histories.detected,
        histories.season_year,
        histories.cluster,
        **model_terms(
            histories, covariates, choice.detection, tuple(choice.site_covariates.values())
        ),
        breaks=breaks,
        model=level_model(choice.detection),
    )


def _naive_trend(histories: Histories) -> YearTrend:
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
    return fit_year_trend(twice, histories.season_year, histories.cluster)


def _as_naive(estimate: Estimate) -> Estimate:
    """An estimate of the naive trend under its own name of method.

    Detection at the edge of its range is how that model is built, so it is no flag of the estimate.
    """
    flags = estimate.flags
    if estimate.low is not None and estimate.high is not None:
        flags = tuple(flag for flag in flags if flag != EDGE_OF_RANGE)
    return replace(estimate, method=NAIVE_TREND, flags=flags)


def _years(
    species: str,
    periods: SpeciesPeriods,
    histories: Histories,
    covariates: Mapping[str, FloatArray],
    choice: Choice,
    c_hat: float,
) -> Iterator[SpeciesYear]:
    counts = {count.season_year: count for count in count_years(species, calling_season(periods))}
    whole_year = {count.season_year: count for count in count_years(species, periods.columns)}
    for year in np.unique(histories.season_year).tolist():
        if year not in counts:
            continue
        rows = histories.season_year == year
        of_year = select_rows(histories, rows)
        model = _affordable_model(choice.detection, of_year)
        fit = fit_occupancy(
            of_year.detected,
            detection={name: covariates[name][rows] for name in DETECTION[model]},
            clusters=of_year.cluster,
        )
        highest = np.nan_to_num(of_year.call_index).max(axis=1, initial=0.0)
        at_1, at_2, at_3 = (int((highest == index).sum()) for index in (1, 2, 3))
        heard = np.nan_to_num(of_year.detected).max(axis=1, initial=0.0) > 0
        yield SpeciesYear(
            season_year=year,
            sites=fit.rows,
            sites_heard=int(heard.sum()),
            sites_heard_at=(at_1, at_2, at_3),
            effort=Effort(
                routes=counts[year].routes,
                visits=counts[year].visits,
                periods=counts[year].periods,
            ),
            first_night=whole_year[year].first_night,
            last_night=whole_year[year].last_night,
            naive=fit.naive,
            occupancy=_independent(occupancy_share, fit, c_hat),
            occupancy_by_route=_by_route(occupancy_share, fit, c_hat),
            detection=_by_route(detection_share, fit, c_hat),
            detection_model=model,
        )


def _affordable_model(chosen: str, histories: Histories) -> str:
    """The richest detection model within the chosen one that these histories can carry."""
    rarer = rarer_outcome(histories.detected)
    return next(
        name for name in reversed(nested_in(chosen)) if carries(rarer, len(DETECTION[name]))
    )


def _independent(share: Callable[..., Estimate], fit: OccupancyFit, c_hat: float) -> Estimate:
    """A share with an interval that takes sites as independent, wider for a poor fit."""
    return quasi(share(fit, level=quasi_level(LEVEL, c_hat)), c_hat)


def _by_route(share: Callable[..., Estimate], fit: OccupancyFit, c_hat: float) -> Estimate:
    """A share with an interval that allows for the stops of a route being alike."""
    if fit.clustered_covariance is not None:
        return share(fit, interval="clustered")
    return _independent(share, fit, c_hat)


def _turnover(
    histories: Histories,
    covariates: Mapping[str, FloatArray],
    detection: Sequence[str],
    site: Site,
) -> Turnover:
    """The dynamic model over all season years from the first to the last; a year without visits
    stays empty. Stops are clustered by route; routes are sites of their own."""
    sites, first_row, place = np.unique(histories.site, return_index=True, return_inverse=True)
    first = int(histories.season_year.min(initial=9999))
    seasons = int(histories.season_year.max(initial=first)) - first + 1
    shape = (len(sites), max(seasons, 1), histories.detected.shape[1])

    def grid(values: FloatArray) -> FloatArray:
        array = np.full(shape, np.nan)
        array[place, histories.season_year - first] = values
        return array

    fit = fit_dynamic(
        grid(histories.detected),
        detection={name: grid(covariates[name]) for name in detection},
        clusters=histories.cluster[first_row] if site == "stop" else None,
    )
    return Turnover(
        colonization=dynamic_chance(fit, "colonization"),
        extinction=dynamic_chance(fit, "extinction"),
        equilibrium=equilibrium_occupancy(fit),
    )


def _index(histories: Histories) -> tuple[IndexYear, ...]:
    fit = fit_call_index(
        histories.call_index, groups=histories.season_year, clusters=histories.cluster
    )
    return tuple(
        IndexYear(
            season_year=int(str(year)),
            expected_index=summary.expected_index,
            full_chorus=summary.full_chorus,
        )
        for year, summary in summarize_groups(fit)
    )


def _phenology(periods: SpeciesPeriods) -> Phenology:
    columns = periods.columns
    arrays = (periods.day, columns.heard, columns.season_year, columns.route)
    return Phenology(
        nights=calling_nights(*arrays, seed=_SEED, replicates=_REPLICATES),
        shift=shift_of_season(*arrays),
    )
