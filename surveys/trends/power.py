"""Power of a program to see a decline, by simulation."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.special import expit, logit, ndtr

from surveys.trends import estimates
from surveys.trends.estimates import Estimate, merge_flags
from surveys.trends.models.year_trend import fit_year_trend
from surveys.trends.numerics.arrays import FloatArray, IntArray
from surveys.trends.numerics.intervals import WILSON, wilson

# Rows of a simulated program up to which so many are simulated.
_SIMULATIONS = ((10_000, 200), (40_000, 100))
_FEWEST = 50
METHOD = "simulated-surveys"


@dataclass(frozen=True, kw_only=True)
class SurveyPlan:
    """A program and the truth it would meet.

    ``occupancy`` is the share of stops in the first year, ``fall`` the part of it lost by the last
    year, in equal yearly steps of percent. ``stay`` is the chance that a stop keeps its score from
    one year to the next, ``alike`` how strongly the stops of a route share it (0 to 1). ``year_sd``
    is the standard deviation of good and bad years, which all stops share, on the logit scale.
    """

    routes: int
    stops_per_route: int
    visits: int
    years: int
    occupancy: float
    detection: float
    fall: float = 0.3
    stay: float = 0.8
    alike: float = 0.2
    year_sd: float = 0.0

    def __post_init__(self) -> None:
        for name in ("routes", "years"):
            if getattr(self, name) < 2:
                raise ValueError(f"{name}: a trend needs at least 2")
        for name in ("stops_per_route", "visits"):
            if getattr(self, name) < 1:
                raise ValueError(f"{name}: expected at least 1")
        for name in ("occupancy", "detection", "fall", "stay", "alike"):
            if not 0.0 <= getattr(self, name) <= 1.0:
                raise ValueError(f"{name}: expected a share from 0 to 1")
        if self.year_sd < 0:
            raise ValueError("year_sd: expected 0 or more")


@dataclass(frozen=True, kw_only=True)
class PowerCell:
    """The chance to see the fall with so many routes and visits per year."""

    routes: int
    visits: int
    chance: Estimate


def power_grid(
    plan: SurveyPlan, *, routes: Sequence[int], visits: Sequence[int], seed: int
) -> tuple[PowerCell, ...]:
    """Power to detect the decline of a plan with other numbers of routes and visits.

    Parameters
    ----------
    plan
        The program and the truth it would meet.
    routes, visits
        Numbers of routes, and of visits to each a year, to try; each pair is one cell.
    seed
        Of the random numbers; every cell uses the same.

    Returns
    -------
    tuple of PowerCell
        By routes, then visits. Fewer programs are simulated where each is large: from 200 down to
        50, which the interval of a cell names.

    Raises
    ------
    ValueError
        For fewer than two routes or no visits.
    """
    cells = []
    for number in routes:
        for times in visits:
            variant = replace(plan, routes=number, visits=times)
            chance = power_of_trend(variant, seed=seed, simulations=_enough(variant))
            cells.append(PowerCell(routes=number, visits=times, chance=chance))
    return tuple(cells)


def _enough(plan: SurveyPlan) -> int:
    rows = plan.routes * plan.stops_per_route * plan.years
    return next((count for most, count in _SIMULATIONS if rows <= most), _FEWEST)


def yearly_truth(plan: SurveyPlan) -> FloatArray:
    """True occupancy of each year, falling by the same percentage every year, (years,)."""
    steps = np.arange(plan.years) / (plan.years - 1)
    truth: FloatArray = plan.occupancy * (1 - plan.fall) ** steps
    return truth


def simulate_program(
    plan: SurveyPlan, rng: np.random.Generator
) -> tuple[FloatArray, IntArray, IntArray]:
    """Histories (rows, visits), season years and routes (rows,) of one simulated program.

    Each stop and year has a normal score, part of it shared by its route. A stop is occupied when
    its score lies below the quantile of that year's occupancy, so that the yearly share is exact
    in the mean whatever is shared or kept. Good and bad years move that quantile for all.
    """
    stops = plan.routes * plan.stops_per_route
    route = np.repeat(np.arange(plan.routes), plan.stops_per_route)
    of_stop = _scores_over_years(rng, stops, plan)
    of_route = _scores_over_years(rng, plan.routes, plan)[route]
    score = np.sqrt(plan.alike) * of_route + np.sqrt(1 - plan.alike) * of_stop
    years = rng.normal(0.0, plan.year_sd, plan.years)
    occupied = ndtr(score) < expit(logit(yearly_truth(plan)) + years)
    heard = rng.random((stops, plan.years, plan.visits)) < plan.detection
    history = (heard & occupied[:, :, None]).astype(np.float64).reshape(-1, plan.visits)
    season_years = np.tile(np.arange(1, plan.years + 1), stops)
    return history, season_years, np.repeat(route, plan.years)


def power_of_trend(
    plan: SurveyPlan, *, seed: int, simulations: int = 200, level: float = 0.95
) -> Estimate:
    """Share of simulated programs whose trend interval lies wholly below no change.

    Parameters
    ----------
    plan
        The program and the truth it would meet. With ``fall=0`` the answer is the chance of a false
        alarm.
    seed
        Of the random numbers.
    simulations
        How many programs to simulate.
    level
        Confidence level of the trend's interval.

    Returns
    -------
    Estimate
        A share from 0 to 1; its interval is the error of the simulation. Programs whose trend
        cannot be fitted count as not detecting the decline; more than a tenth of them is flagged.

    Examples
    --------
    >>> plan = SurveyPlan(
    ...     routes=20, stops_per_route=5, visits=3, years=6, occupancy=0.7, detection=0.6, fall=0.8
    ... )
    >>> bool(power_of_trend(plan, seed=1, simulations=20).value > 0.8)
    True
    """
    rng = np.random.default_rng(seed)
    seen = lost = 0
    for _ in range(simulations):
        line = fit_year_trend(*simulate_program(plan, rng), confidence=level).line
        lost += line is None
        seen += line is not None and line.limits[1] < 0
    share = wilson(seen, simulations, name="power to see the decline")
    flags = (estimates.NOT_IDENTIFIED,) if lost > simulations / 10 else ()
    return replace(
        share,
        interval=f"{WILSON}+programs:{simulations}",
        method=METHOD,
        flags=merge_flags(share.flags, flags),
    )


def _scores_over_years(rng: np.random.Generator, count: int, plan: SurveyPlan) -> FloatArray:
    score = rng.normal(size=(count, plan.years))
    for year in range(1, plan.years):
        kept = rng.random(count) < plan.stay
        score[kept, year] = score[kept, year - 1]
    return score
