"""Everything that is known of one species, as ``analysis`` works it out."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from .gof import GoodnessOfFit
from .results import Estimate


@dataclass(frozen=True, kw_only=True)
class FittedYear:
    """One season year: effort and hits in the calling season, then what follows from them.

    `heard_at` counts sites by their highest index, 1 to 3. Nights are of the whole season year.
    `by_route` is `occupancy` with an interval that lets the stops of a route share their fate, as
    that of `detection` does: they share their nights.
    """

    season_year: int
    routes: int
    sites: int
    visits: int
    periods: int
    heard: int
    heard_at: tuple[int, int, int]
    first_night: dt.date | None
    last_night: dt.date | None
    naive: Estimate
    occupancy: Estimate
    by_route: Estimate
    detection: Estimate
    detection_model: str


@dataclass(frozen=True, kw_only=True)
class ModelLine:
    name: str
    parameters: int
    aic: float | None
    delta: float | None
    flags: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class Effect:
    """By what the odds are multiplied for `step` more of a covariate, or for a class against the
    class `baseline`. `part` is occupancy or detection."""

    part: str
    name: str
    baseline: str
    step: float
    odds: Estimate


@dataclass(frozen=True, kw_only=True)
class SilentKind:
    """A kind of site at which the species was never heard; `occupancy` bounds what was missed."""

    name: str
    sites: int
    occupancy: Estimate


@dataclass(frozen=True, kw_only=True)
class Trend:
    """The slope on each of its scales, the fitted occupancy of each year on it (the mean over
    all sites), and the models it was chosen from. `naive` and `naive_line` are the same of the
    plain share of sites heard, in percent of that share a year."""

    log_odds: Estimate
    odds: Estimate
    occupancy: Estimate
    points: Estimate
    line: tuple[tuple[int, Estimate], ...]
    naive: Estimate
    naive_line: tuple[tuple[int, Estimate], ...]
    detection_model: str
    models: tuple[ModelLine, ...]
    occupancy_model: str
    occupancy_models: tuple[ModelLine, ...]
    effects: tuple[Effect, ...]
    silent: tuple[SilentKind, ...]


@dataclass(frozen=True, kw_only=True)
class Turnover:
    """Chances from one season year to the next, and the occupancy they tend to."""

    colonization: Estimate
    extinction: Estimate
    equilibrium: Estimate


@dataclass(frozen=True, kw_only=True)
class IndexYear:
    season_year: int
    expected_index: Estimate
    full_chorus: Estimate


@dataclass(frozen=True, kw_only=True)
class SeasonYearNights:
    """Days from the first day of the season year."""

    season_year: int
    first: Estimate
    median: Estimate
    last: Estimate


@dataclass(frozen=True, kw_only=True)
class Phenology:
    nights: tuple[SeasonYearNights, ...]
    shift: Estimate


@dataclass(frozen=True, kw_only=True)
class FitResult:
    """Everything of one species, kind of site and region.

    `turnover`, `index` and `phenology` are None where they are not worked out: turnover and
    phenology are told of all regions together, the index of stops only. `fit_check` is of the
    model of the trend; where its c-hat is above 1, the yearly intervals that take sites as
    independent are wider by its root. `filled` says which
    share of the visits to a site lacked a covariate and took its mean.
    """

    years: tuple[FittedYear, ...]
    trend: Trend
    fit_check: GoodnessOfFit | None
    turnover: Turnover | None
    index: tuple[IndexYear, ...] | None
    phenology: Phenology | None
    filled: tuple[tuple[str, float], ...]
