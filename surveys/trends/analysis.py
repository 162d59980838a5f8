"""One species, from its listening periods to everything that is stored of it.

Occupancy models see the calling season only. Their models of detection are tried from the
simplest on and chosen by AIC; the yearly fits take as much of the chosen one as the hits of the
year can carry.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from .analyzed import (
    FitResult,
    FittedYear,
    IndexYear,
    Phenology,
    SeasonYearNights,
    Trend,
    Turnover,
)
from .choice import (
    DETECTION,
    MOST_FILLED,
    Choice,
    carries,
    choose_trend,
    filled_with_mean,
    nested_in,
    rarer_outcome,
)
from .effects import (
    effects,
    silent_kinds,
)
from .gof import (
    goodness_of_fit,
    quasi,
    quasi_level,
)
from .histories import (
    Histories,
    Site,
    build_histories,
    select_rows,
)
from .kinds import site_terms
from .models.callindex import (
    fit_call_index,
    summarize_groups,
)
from .models.dynamic import (
    dynamic_chance,
    equilibrium_occupancy,
    fit_dynamic,
)
from .models.occupancy import fit_occupancy
from .models.occupancy_estimates import (
    detection_share,
    occupancy_share,
)
from .models.phenology import calling_nights
from .models.phenology_shift import shift_of_season
from .models.trend import (
    TrendFit,
    fit_trend,
    summarize_trend,
    yearly_occupancy,
)
from .numerics.arrays import FloatArray
from .periods import (
    SpeciesPeriods,
    calling_season,
)
from .results import (
    EDGE_OF_RANGE,
    POOR_FIT,
    Estimate,
    flagged,
)
from .table import (
    YearCounts,
    count_years,
)

NAIVE_TREND = "logistic regression of heard at all on the year, not corrected for detection"
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


def analyze(species: str, periods: SpeciesPeriods, *, site: Site, parts: Parts) -> FitResult:
    """Everything of one species. Never raises for sparse data: flags say what it cannot carry."""
    season = calling_season(periods)
    histories = build_histories(season, site=site)
    covariates, filled = filled_with_mean(histories)
    terms = site_terms(histories, season, periods.stops, site)
    usable = {name: term for name, term in terms.items() if term.filled <= MOST_FILLED}
    choice = choose_trend(histories, covariates, usable)
    filled |= {name: term.filled for name, term in choice.terms.items() if term.filled}
    trend = choice.trend
    counts = {count.season_year: count for count in count_years(species, season)}
    nights = {count.season_year: count for count in count_years(species, periods.columns)}
    check = goodness_of_fit(trend.fit, seed=_SEED) if parts.fit_check else None
    c_hat = max(check.c_hat.value or 1.0, 1.0) if check else 1.0
    poor = (POOR_FIT,) if check and POOR_FIT in check.p.flags else ()
    summary = summarize_trend(trend)
    naive = _naive_trend(histories)
    return FitResult(
        years=tuple(
            _year(year, histories, covariates, choice, c_hat, counts[year], nights[year])
            for year in np.unique(histories.season_year).tolist()
            if year in counts
        ),
        trend=Trend(
            log_odds=flagged(summary.log_odds, *poor),
            odds=flagged(summary.odds, *poor),
            occupancy=flagged(summary.occupancy, *poor),
            points=flagged(summary.points, *poor),
            line=yearly_occupancy(trend),
            naive=replace(
                _settled(summarize_trend(naive).occupancy, NAIVE_TREND),
                name="trend of the plain share, % change per year",
            ),
            naive_line=tuple(
                (year, _settled(share, NAIVE_TREND)) for year, share in yearly_occupancy(naive)
            ),
            detection_model=choice.detection,
            models=choice.detection_models,
            occupancy_model=choice.occupancy,
            occupancy_models=choice.occupancy_models,
            effects=effects(choice),
            silent=silent_kinds(choice, histories),
        ),
        fit_check=check,
        turnover=_turnover(histories, covariates, choice.detection_covariates, site)
        if parts.turnover
        else None,
        index=_index(histories) if parts.index else None,
        phenology=_phenology(periods) if parts.phenology else None,
        filled=tuple(sorted(filled.items())),
    )


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


def _year(
    year: int,
    histories: Histories,
    covariates: Mapping[str, FloatArray],
    choice: Choice,
    c_hat: float,
    counts: YearCounts,
    nights: YearCounts,
) -> FittedYear:
    rows = histories.season_year == year
    own = select_rows(histories, rows)
    rarer = rarer_outcome(own.detected)
    model = next(
        name
        for name in reversed(nested_in(choice.detection))
        if carries(rarer, len(DETECTION[name]))
    )
    fit = fit_occupancy(
        own.detected,
        detection={name: covariates[name][rows] for name in DETECTION[model]},
        clusters=own.cluster,
    )
    wide = quasi_level(LEVEL, c_hat)

    def by_route(share: Callable[..., Estimate]) -> Estimate:
        if fit.clustered_covariance is not None:
            return share(fit, interval="clustered")
        return quasi(share(fit, level=wide), c_hat)

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
        occupancy=quasi(occupancy_share(fit, level=wide), c_hat),
        by_route=by_route(occupancy_share),
        detection=by_route(detection_share),
        detection_model=model,
    )


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
        found = np.full(shape, np.nan)
        found[place, histories.season_year - first] = values
        return found

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
