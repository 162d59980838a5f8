"""One species, from its listening periods to everything that is stored of it.

Occupancy models see the calling season only. Their models of detection are tried from the
simplest on and chosen by AIC; the yearly fits take as much of the chosen one as the hits of the
year can carry.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from .analysed import (
    FitResult,
    FittedYear,
    IndexYear,
    ModelLine,
    Phenology,
    SeasonYearNights,
    Trend,
    Turnover,
)
from .arrays import FloatArray
from .callindex import fit_call_index, summarise_groups
from .dynamic import dynamic_chance, equilibrium_occupancy, fit_dynamic
from .histories import Histories, Site, build_histories, select_rows
from .modeltable import model_table
from .occupancy import fit_occupancy
from .occupancy_estimates import detection_share, occupancy_share
from .periods import SpeciesPeriods, calling_season
from .phenology import calling_nights
from .phenology_shift import shift_of_season
from .results import EDGE_OF_RANGE, NO_REPEAT_VISITS, Estimate
from .table import YearCounts, count_years
from .trend import TrendFit, fit_trend, summarise_trend, yearly_occupancy

NAIVE_TREND = "logistic regression of heard at all on the year, not corrected for detection"
CONSTANT = "the same on every visit"
BY_YEAR = ", its level free in each year"
DETECTION: Mapping[str, tuple[str, ...]] = {
    CONSTANT: (),
    "night of the season": ("night", "night squared"),
    "night and temperature": ("night", "night squared", "temperature"),
    "night, temperature, time, wind and noise": (
        "night",
        "night squared",
        "temperature",
        "minutes after sunset",
        "wind",
        "noise",
    ),
}
# Common practice, no source: a covariate wants about ten hits.
_HITS_PER_COVARIATE = 10
# A covariate that is missing more often than this is not used.
_MOST_FILLED = 0.2
_SEED = 1
_REPLICATES = 200


@dataclass(frozen=True, kw_only=True)
class Parts:
    """What to work out beside the yearly values and the trend."""

    turnover: bool = True
    index: bool = True
    phenology: bool = True


def analyse(species: str, periods: SpeciesPeriods, *, site: Site, parts: Parts) -> FitResult:
    """Everything of one species. Never raises for sparse data: flags say what it cannot carry."""
    season = calling_season(periods)
    histories = build_histories(season, site=site)
    covariates, filled = _filled(histories)
    usable = {
        name: needed for name, needed in DETECTION.items() if all(c in covariates for c in needed)
    }
    trend, chosen, models = _trend(histories, covariates, usable)
    counts = {count.season_year: count for count in count_years(species, season)}
    nights = {count.season_year: count for count in count_years(species, periods.columns)}
    order = [name for name in usable if name in _simpler(chosen)]
    summary = summarise_trend(trend)
    naive = _naive_trend(histories)
    return FitResult(
        years=tuple(
            _year(year, histories, covariates, order, counts[year], nights[year])
            for year in np.unique(histories.season_year).tolist()
            if year in counts
        ),
        trend=Trend(
            log_odds=summary.log_odds,
            odds=summary.odds,
            occupancy=summary.occupancy,
            points=summary.points,
            line=yearly_occupancy(trend),
            naive=replace(
                _settled(summarise_trend(naive).occupancy, NAIVE_TREND),
                name="trend of the plain share, % change per year",
            ),
            naive_line=tuple(
                (year, _settled(share, NAIVE_TREND)) for year, share in yearly_occupancy(naive)
            ),
            detection_model=chosen,
            models=models,
        ),
        turnover=_turnover(histories, covariates, usable[_base(chosen)])
        if parts.turnover
        else None,
        index=_index(histories) if parts.index else None,
        phenology=_phenology(periods) if parts.phenology else None,
        filled=tuple(sorted(filled.items())),
    )


def _filled(histories: Histories) -> tuple[dict[str, FloatArray], dict[str, float]]:
    """Covariates with the mean in place of what is missing, and the share that was missing.

    Leaving such visits out instead would let every model see other data, and AIC compare nothing.
    """
    listened = ~np.isnan(histories.detected)
    found, shares = {}, {}
    for name, values in histories.visit_covariates.items():
        missing = listened & np.isnan(values)
        known = values[listened & ~missing]
        share = float(missing.sum() / max(listened.sum(), 1))
        if len(known) and share <= _MOST_FILLED and np.ptp(known) > 0:
            found[name] = np.where(missing, known.mean(), values)
            if share:
                shares[name] = share
    return found, shares


def _trend(
    histories: Histories,
    covariates: Mapping[str, FloatArray],
    usable: Mapping[str, Sequence[str]],
) -> tuple[TrendFit, str, tuple[ModelLine, ...]]:
    """The linear trend under the best model of detection by AIC.

    The best one is also tried with a level of its own for each year: frogs that became harder to
    hear otherwise look like a decline.
    """

    def fit(name: str, *, by_year: bool) -> TrendFit:
        return fit_trend(
            histories.detected,
            histories.season_year,
            histories.cluster,
            detection={c: covariates[c] for c in usable[name]},
            detection_by_year=by_year,
        )

    constant = fit(CONSTANT, by_year=False)
    if constant.fit.maximum is None or NO_REPEAT_VISITS in constant.fit.flags:
        return constant, CONSTANT, ()
    fits = {
        CONSTANT: constant,
        **{name: fit(name, by_year=False) for name in usable if name != CONSTANT},
    }
    best = model_table({name: trend.fit for name, trend in fits.items()})[0].name
    fits[best + BY_YEAR] = fit(best, by_year=True)
    table = model_table({name: trend.fit for name, trend in fits.items()})
    lines = tuple(
        ModelLine(
            name=row.name,
            parameters=row.parameters,
            aic=row.aic,
            delta=row.delta,
            flags=row.flags,
        )
        for row in table
    )
    return fits[table[0].name], table[0].name, lines


def _naive_trend(histories: Histories) -> TrendFit:
    """The slope of the plain share of sites heard.

    A season written down twice leaves nothing to detection: the model is then the logistic
    regression of "heard at all" on the year, with its standard errors clustered.
    """
    heard = np.where(
        np.isnan(histories.detected).all(axis=1),
        np.nan,
        (np.nan_to_num(histories.detected) > 0).any(axis=1),
    )
    return fit_trend(np.column_stack([heard, heard]), histories.season_year, histories.cluster)


def _settled(estimate: Estimate, method: str) -> Estimate:
    """Detection at the edge of its range is meant here, and is no flag of the estimate."""
    flags = estimate.flags
    if estimate.low is not None and estimate.high is not None:
        flags = tuple(flag for flag in flags if flag != EDGE_OF_RANGE)
    return replace(estimate, method=method, flags=flags)


def _base(model: str) -> str:
    return model.removesuffix(BY_YEAR)


def _simpler(model: str) -> tuple[str, ...]:
    """The models from the simplest to this one."""
    names = list(DETECTION)
    return tuple(names[: names.index(_base(model)) + 1])


def _year(
    year: int,
    histories: Histories,
    covariates: Mapping[str, FloatArray],
    models: Sequence[str],
    counts: YearCounts,
    nights: YearCounts,
) -> FittedYear:
    rows = histories.season_year == year
    own = select_rows(histories, rows)
    hits = int(np.nansum(own.detected))
    model = next(
        name
        for name in reversed(models)
        if not DETECTION[name] or hits >= _HITS_PER_COVARIATE * len(DETECTION[name])
    )
    fit = fit_occupancy(
        own.detected,
        detection={name: covariates[name][rows] for name in DETECTION[model]},
        clusters=own.cluster,
    )
    clustered = fit.clustered_covariance is not None
    best = np.nan_to_num(own.call_index).max(axis=1, initial=0.0)
    heard_at = tuple(int((best == index).sum()) for index in (1, 2, 3))
    return FittedYear(
        season_year=year,
        routes=counts.routes,
        sites=fit.rows,
        visits=counts.visits,
        periods=counts.periods,
        heard=int((np.nan_to_num(own.detected).max(axis=1, initial=0.0) > 0).sum()),
        heard_at=(heard_at[0], heard_at[1], heard_at[2]),
        first_night=nights.first_night,
        last_night=nights.last_night,
        naive=fit.naive,
        occupancy=occupancy_share(fit),
        by_route=occupancy_share(fit, interval="clustered" if clustered else "profile"),
        detection=detection_share(fit),
        detection_model=model,
    )


def _turnover(
    histories: Histories, covariates: Mapping[str, FloatArray], detection: Sequence[str]
) -> Turnover:
    """The dynamic model over all season years from the first to the last; a year without visits
    stays empty."""
    sites, site = np.unique(histories.site, return_inverse=True)
    first = int(histories.season_year.min(initial=9999))
    seasons = int(histories.season_year.max(initial=first)) - first + 1
    shape = (len(sites), max(seasons, 1), histories.detected.shape[1])

    def grid(values: FloatArray) -> FloatArray:
        found = np.full(shape, np.nan)
        found[site, histories.season_year - first] = values
        return found

    fit = fit_dynamic(
        grid(histories.detected),
        detection={name: grid(covariates[name]) for name in detection},
    )
    return Turnover(
        colonisation=dynamic_chance(fit, "colonisation"),
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
        for year, summary in summarise_groups(fit)
    )


def _phenology(periods: SpeciesPeriods) -> Phenology:
    columns = periods.columns
    given = (periods.day, columns.heard, columns.season_year, columns.route)
    return Phenology(
        nights=tuple(
            SeasonYearNights(
                season_year=year.season_year, first=year.first, median=year.median, last=year.last
            )
            for year in calling_nights(*given, seed=_SEED, replicates=_REPLICATES)
        ),
        shift=shift_of_season(*given),
    )
