"""One species, from its listening periods to everything that is stored of it.

Occupancy models see the calling season only. Their detection models are tried from the simplest
on and chosen by AIC; the fits of single years use as much of the chosen one as the detections of
the year can carry.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace

import numpy as np

from surveys.trends.chorus import chorus_trend
from surveys.trends.estimates import (
    CHOSEN_WHERE_HEARD,
    FEW_CLUSTERS,
    NO_REPEAT_VISITS,
    OPEN_SEASON,
    POOR_FIT,
    PROTOCOL_CHANGED,
    SITES_DISAGREE,
    STOPS_CHANGED,
    Estimate,
    flagged,
)
from surveys.trends.histories import Histories, Site, build_histories, select_rows
from surveys.trends.model_selection import (
    DETECTION,
    Choice,
    carries,
    fill_with_mean,
    nested_in,
    rarer_outcome,
)
from surveys.trends.models.call_index import fit_call_index, summarize_groups
from surveys.trends.models.dynamic import dynamic_chance, equilibrium_occupancy, fit_dynamic
from surveys.trends.models.goodness_of_fit import (
    goodness_of_fit,
    quasi,
    quasi_level,
)
from surveys.trends.models.occupancy import OccupancyFit, fit_occupancy
from surveys.trends.models.occupancy_estimates import detection_share, occupancy_share
from surveys.trends.models.phenology import calling_nights
from surveys.trends.models.phenology_shift import shift_of_season
from surveys.trends.numerics.arrays import FloatArray
from surveys.trends.numerics.intervals import wilson_clustered
from surveys.trends.periods import SpeciesPeriods, calling_season
from surveys.trends.sensitivity import sensitivity, sites_disagree
from surveys.trends.species_result import (
    Effort,
    IndexYear,
    Phenology,
    SpeciesResult,
    SpeciesYear,
    Turnover,
)
from surveys.trends.table import count_years, nights_heard
from surveys.trends.told_trend import TrendData, told_data, told_trend, trend_of
from surveys.trends.water import WaterAndCalls, water_and_calls
from surveys.trends.wetland_changes import change_effects
from surveys.trends.whole_program import fit_regions, weighting_lines, whole_program

LEVEL = 0.95
_SEED = 1
# What limits the trends of the surveyed routes, of the whole program and of full chorus alike.
_OF_ALL = {CHOSEN_WHERE_HEARD, POOR_FIT, PROTOCOL_CHANGED, STOPS_CHANGED}
_REPLICATES = 200


@dataclass(frozen=True, kw_only=True)
class Parts:
    """What to work out beside the yearly values and the trend."""

    fit_check: bool = True
    turnover: bool = True
    index: bool = True
    phenology: bool = True
    sensitivity: bool = True
    chorus: bool = True
    water: bool = True


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
    >>> from surveys.trends.example import example_periods
    >>> periods = example_periods(60)
    >>> result = analyze("Pseudacris crucifer", periods, site="stop", parts=Parts(fit_check=False))
    >>> [year.season_year for year in result.years]
    [2019, 2020, 2021, 2022, 2023, 2024]
    >>> bool(result.trend.occupancy.low < 0 < result.trend.occupancy.high)
    True
    """
    told = told_data(periods, site)
    line = trend_of(told)
    choice = told.choice
    check = goodness_of_fit(choice.trend.fit, seed=_SEED) if parts.fit_check else None
    c_hat = max(check.c_hat.value or 1.0, 1.0) if check else 1.0
    histories = build_histories(calling_season(periods), site=site)
    trend = told_trend(told, line, check)
    checks = sensitivity(told, trend.occupancy, line, periods) if parts.sensitivity else ()
    regions = fit_regions(periods, site)
    of_all = tuple(flag for flag in trend.occupancy.flags if flag in _OF_ALL)
    if sites_disagree(checks):
        trend = replace(trend, occupancy=flagged(trend.occupancy, SITES_DISAGREE))
    return SpeciesResult(
        years=tuple(_years(species, periods, histories, choice, c_hat)),
        trend=trend,
        fit_check=check,
        turnover=_turnover(told, site) if parts.turnover else None,
        index=_index(histories) if parts.index else None,
        phenology=_phenology(periods) if parts.phenology else None,
        filled=told.filled,
        sensitivity=(*checks, *(weighting_lines(regions) if checks else ())),
        chorus=chorus_trend(told, flags=of_all) if parts.chorus and site == "stop" else None,
        whole=whole_program(regions, flags=of_all) if regions else None,
        water=_water(periods) if parts.water and site == "stop" else None,
        changes=tuple(change_effects(periods, detection=choice.detection_covariates))
        if parts.water and site == "stop"
        else (),
    )


def _years(
    species: str,
    periods: SpeciesPeriods,
    histories: Histories,
    choice: Choice,
    c_hat: float,
) -> Iterator[SpeciesYear]:
    covariates, _ = fill_with_mean(histories)
    counts = {count.season_year: count for count in count_years(species, calling_season(periods))}
    whole_year = nights_heard(periods.columns)
    without_covariates = replace(histories, visit_covariates={})
    for year in np.unique(histories.season_year).tolist():
        if year not in counts:
            continue
        rows = np.flatnonzero(histories.season_year == year)
        of_year = select_rows(without_covariates, rows)
        model = _affordable_model(choice.detection, of_year, covariates)
        fit = fit_occupancy(
            of_year.detected,
            detection={name: covariates[name][rows] for name in DETECTION[model]},
            clusters=of_year.cluster,
        )
        highest = np.nan_to_num(of_year.call_index).max(axis=1, initial=0.0)
        at_1, at_2, at_3 = (int((highest == index).sum()) for index in (1, 2, 3))
        heard = np.nan_to_num(of_year.detected).max(axis=1, initial=0.0) > 0
        alone = len(np.unique(of_year.cluster)) < 2
        flags = (
            *((OPEN_SEASON,) if year == periods.open_year else ()),
            *((FEW_CLUSTERS,) if alone else ()),
        )
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
            first_night=whole_year[year][0],
            last_night=whole_year[year][1],
            naive=fit.naive,
            occupancy=flagged(_independent(occupancy_share, fit, c_hat), *flags),
            occupancy_by_route=_by_route(occupancy_share, fit, c_hat, alone=alone),
            naive_by_route=_naive_by_route(fit) if NO_REPEAT_VISITS in fit.flags else None,
            detection=_by_route(detection_share, fit, c_hat, alone=alone),
            detection_model=model,
        )


def _affordable_model(
    chosen: str, histories: Histories, covariates: Mapping[str, FloatArray]
) -> str:
    """The richest detection model within the chosen one that these histories can carry."""
    rarer = rarer_outcome(histories.detected)
    return next(
        name
        for name in reversed(nested_in(chosen))
        if carries(rarer, len(DETECTION[name])) and set(DETECTION[name]) <= set(covariates)
    )


def _independent(share: Callable[..., Estimate], fit: OccupancyFit, c_hat: float) -> Estimate:
    """A share with an interval that takes sites as independent, wider for a poor fit."""
    return quasi(share(fit, level=quasi_level(LEVEL, c_hat)), c_hat)


def _by_route(
    share: Callable[..., Estimate], fit: OccupancyFit, c_hat: float, *, alone: bool
) -> Estimate:
    """A share with an interval that allows for the stops of a route being alike; one route alone
    has none."""
    if fit.clustered_covariance is not None:
        return share(fit, interval="clustered")
    independent = _independent(share, fit, c_hat)
    if not alone:
        return independent
    unbounded = replace(independent, low=None, high=None, se=None, interval="none")
    return flagged(unbounded, FEW_CLUSTERS)


def _naive_by_route(fit: OccupancyFit) -> Estimate:
    heard = np.nan_to_num(fit.history).max(axis=1, initial=0.0)
    return wilson_clustered(heard, np.ones(fit.rows), fit.cluster, name=fit.naive.name)


def _turnover(told: TrendData, site: Site) -> Turnover:
    """The dynamic model over all season years from the first to the last; a year without visits
    stays empty. Stops are clustered by route; routes are sites of their own."""
    histories, detection = told.histories, told.choice.detection_covariates
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
        detection={name: grid(told.covariates[name]) for name in detection},
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


def _water(periods: SpeciesPeriods) -> WaterAndCalls | None:
    if "water" not in periods.columns.covariates:
        return None
    return water_and_calls(periods.columns, periods.in_season)


def _phenology(periods: SpeciesPeriods) -> Phenology:
    columns = periods.columns
    arrays = (periods.day, columns.heard, columns.season_year, columns.route)
    over = columns.season_year != (periods.open_year or 0)
    return Phenology(
        nights=calling_nights(*arrays, seed=_SEED, replicates=_REPLICATES),
        shift=shift_of_season(*(array[over] for array in arrays)),
    )
