"""Invented programs with a known trend, for counting how often an interval holds the truth.

Stops of a route are alike, stops keep their state from year to year, years are good or bad for all
routes together, routes come and go, observers differ. Every number can be set; what is drawn
depends on the seed alone.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from scipy.optimize import brentq
from scipy.special import expit, logit

# Of Gauss and Hermite, with their weights.
_NODES = np.polynomial.hermite_e.hermegauss(41)

FIRST_YEAR = 2010


@dataclass(frozen=True, kw_only=True)
class Setting:
    """One kind of program. Spreads are standard deviations on the logit scale.

    ``percent`` is the true change of the share of occupied stops a year. ``kept`` is the chance
    that a stop draws no new fate from one year to the next. ``replaced`` is the share of routes
    that end in some year and are followed by another; ``first_better`` is added to those that end.
    ``leaving`` is the share that end and are not followed, ``joining`` that that begin later.
    ``drop`` is taken off detection from ``drop_year`` on, ``worse_by`` at the share ``worse`` of
    the stops. ``gaps`` are years, counted from 0, without any visit. ``uneven`` leaves that share
    of the visits out, more in early years.
    """

    routes: int = 20
    stops: int = 10
    years: int = 10
    visits: int = 3
    share: float = 0.4
    detection: float = 0.5
    percent: float = 0.0
    route_sd: float = 0.7
    stop_sd: float = 0.0
    route_slope_sd: float = 0.0
    year_sd: float = 0.0
    year_correlation: float = 0.0
    kept: float = 0.9
    replaced: float = 0.0
    first_better: float = 0.0
    leaving: float = 0.0
    joining: float = 0.0
    drop: float = 0.0
    drop_year: int = 5
    stop_detection_sd: float = 0.0
    worse: float = 0.0
    worse_by: float = 0.0
    observer_sd: float = 0.0
    first_year_observer: float = 0.0
    uneven: float = 0.0
    gaps: tuple[int, ...] = ()
    breaks: tuple[int, ...] = field(default=())


@dataclass(frozen=True, kw_only=True)
class Histories:
    """One row a stop and season: detections (rows, visits), season year and route (rows,)."""

    detections: np.ndarray
    season_year: np.ndarray
    route: np.ndarray


def simulate(setting: Setting, rng: np.random.Generator) -> Histories:
    """Draw one program."""
    level, first, last = _routes(setting, rng)
    routes, years = len(level), setting.years
    along = np.arange(years) - (years - 1) / 2
    slope = slope_of(setting) + rng.normal(0, setting.route_slope_sd, routes)
    line = (
        np.repeat(
            level[:, None] + slope[:, None] * along + _year_effects(setting, rng),
            setting.stops,
            axis=0,
        )
        + rng.normal(0, setting.stop_sd, routes * setting.stops)[:, None]
    )
    rank = rng.random(line.shape)
    for year in range(1, years):
        kept = rng.random(len(rank)) < setting.kept
        rank[kept, year] = rank[kept, year - 1]
    occupied = rank < expit(logit(setting.share) + line)
    heard_if_there = expit(_detection(setting, rng, routes))
    shape = (*line.shape, setting.visits)
    heard = (rng.random(shape) < heard_if_there[:, :, None]) & occupied[:, :, None]
    made = _visits_made(setting, rng, shape)

    route = np.repeat(np.arange(routes), setting.stops)
    year = np.arange(years)
    run = (year >= first[route][:, None]) & (year <= last[route][:, None])
    run[:, list(setting.gaps)] = False
    stop_at, year_at = np.nonzero(run)
    detections = np.where(made, heard, np.nan)[stop_at, year_at]
    return Histories(
        detections=detections,
        season_year=(FIRST_YEAR + year_at).astype(np.int64),
        route=route[stop_at],
    )


def slope_of(setting: Setting) -> float:
    """The slope a year on the logit scale that makes the share of stops change by ``percent``."""
    if not setting.percent:
        return 0.0
    wanted = (setting.years - 1) * np.log1p(setting.percent / 100)

    def lacking(slope: float) -> float:
        first, last = _ends(setting, slope)
        return float(np.log(last / first) - wanted)

    return float(brentq(lacking, -2.0, 2.0))


def middle_share(setting: Setting) -> float:
    """The true share of stops in the middle year, without good and bad years."""
    off = setting.years // 2 - (setting.years - 1) / 2
    return _share(setting, slope_of(setting) * off)


def percent_of(strata: Sequence[tuple[float, Setting]]) -> float:
    """The true change of the weighted share a year, between the first year and the last."""
    ends = sum(weight * np.array(_ends(one, slope_of(one))) for weight, one in strata)
    return float(100 * ((ends[1] / ends[0]) ** (1 / (strata[0][1].years - 1)) - 1))


def _ends(setting: Setting, slope: float) -> tuple[float, float]:
    """The mean share of stops in the first year and in the last."""
    half = slope * (setting.years - 1) / 2
    return _share(setting, -half), _share(setting, half)


def _share(setting: Setting, more: float) -> float:
    """The mean share of stops where ``more`` is added on the logit scale."""
    nodes, weights = _NODES
    apart = np.hypot(setting.route_sd, setting.stop_sd) * nodes + logit(setting.share)
    return float(expit(apart + more) @ weights / weights.sum())


def _routes(
    setting: Setting, rng: np.random.Generator
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Level, first and last year of every route; routes that follow others come after them."""
    routes, end = setting.routes, setting.years - 1
    level = rng.normal(0, setting.route_sd, routes)
    last = np.full(routes, end)
    leaving = rng.choice(routes, round(routes * setting.replaced), replace=False)
    after = rng.integers(1, setting.years, len(leaving))
    last[leaving] = after - 1
    level[leaving] += setting.first_better
    first = np.zeros(routes, dtype=int)
    if setting.leaving or setting.joining:
        order = rng.permutation(routes)
        for share, bound, shift in ((setting.leaving, last, -1), (setting.joining, first, 0)):
            some = order[: round(routes * share)]
            bound[some] = rng.integers(1, setting.years, len(some)) + shift
    return (
        np.r_[level, rng.normal(0, setting.route_sd, len(leaving))],
        np.r_[first, after],
        np.r_[last, np.full(len(leaving), end)],
    )


def _year_effects(setting: Setting, rng: np.random.Generator) -> np.ndarray:
    shocks = rng.normal(0, 1, setting.years)
    effects, rho = shocks.copy(), setting.year_correlation
    for year in range(1, setting.years):
        effects[year] = rho * effects[year - 1] + np.sqrt(1 - rho**2) * shocks[year]
    return setting.year_sd * effects


def _detection(setting: Setting, rng: np.random.Generator, routes: int) -> np.ndarray:
    """Logit of the chance of being heard where it is, (stops, years)."""
    years = np.arange(setting.years)
    stops = routes * setting.stops
    line = logit(setting.detection) + rng.normal(0, setting.stop_detection_sd, stops)[:, None]
    line = line - setting.drop * (years >= setting.drop_year)
    if setting.worse:
        line = line - setting.worse_by * (rng.random(stops) < setting.worse)[:, None]
    # An observer stays on a route for some years, then another follows.
    begins = rng.random((routes, setting.years)) < 0.25
    begins[:, 0] = True
    who = np.cumsum(begins, axis=1)
    skill = rng.normal(0, setting.observer_sd, (routes, setting.years + 1))
    ear = np.take_along_axis(skill, who, axis=1) - setting.first_year_observer * begins
    return line + np.repeat(ear, setting.stops, axis=0)


def _visits_made(
    setting: Setting, rng: np.random.Generator, shape: tuple[int, int, int]
) -> np.ndarray:
    stops, years, visits = shape
    missed = setting.uneven * np.linspace(2, 0, years)
    made = rng.random((stops // setting.stops, years, visits)) >= missed[:, None]
    return np.repeat(made, setting.stops, axis=0)
