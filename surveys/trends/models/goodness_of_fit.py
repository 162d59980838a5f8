"""Does the occupancy model fit? Parametric bootstrap and residuals by group.

MacKenzie & Bailey 2004, Journal of Agricultural, Biological, and Environmental Statistics
9:300-318.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.special import ndtr

from surveys.trends import estimates
from surveys.trends.estimates import Estimate, merge_flags, not_estimable
from surveys.trends.models.many_surveys import simulated_statistics
from surveys.trends.models.occupancy import OccupancyFit
from surveys.trends.models.occupancy_likelihood import objective_of
from surveys.trends.models.simulated_surveys import (
    SurveyFrame,
    pearson_of,
    survey_frame,
)
from surveys.trends.numerics.intervals import WILSON, normal_quantile, wilson
from surveys.trends.numerics.optimize import Maximum, maximize

METHOD = "pearson-bootstrap"
# Common practice: a p below this is called a poor fit.
_POOR = 0.05
_WIDEST = 1 - 1e-12
# Surveys to simulate, and how many visits to sites are many.
_SURVEYS, _FEWEST_SURVEYS, _MANY = 100, 40, 40_000
# With more visits a season there are too many histories to expect each of them.
_MOST_VISITS = 6


@dataclass(frozen=True, kw_only=True)
class GoodnessOfFit:
    """Pearson's X2 of the histories; ``p``, the share of simulated surveys that fit as badly; and
    ``c_hat``, how many times larger X2 is than the model expects."""

    statistic: float | None
    p: Estimate
    c_hat: Estimate


def goodness_of_fit(
    fit: OccupancyFit, *, seed: int, replicates: int | None = None
) -> GoodnessOfFit:
    """Compare a fit with surveys that are simulated from it and fitted again.

    Parameters
    ----------
    fit
        A fitted occupancy model.
    seed
        Of the random numbers.
    replicates
        How many surveys to simulate; without it 100, or 40 where there are many histories.
        Simulated surveys keep the missing visits and the covariates of the data.

    Returns
    -------
    GoodnessOfFit
        ``p`` is flagged below 0.05; its interval says how many surveys there were and what that
        leaves open. Without values where the fit has none.

    References
    ----------
    MacKenzie & Bailey 2004, Journal of Agricultural, Biological, and Environmental Statistics
    9:300-318.

    Examples
    --------
    >>> import numpy as np
    >>> from surveys.trends import fit_occupancy
    >>> rng = np.random.default_rng(1)
    >>> heard = (rng.random((200, 1)) < 0.6) & (rng.random((200, 3)) < 0.5)
    >>> check = goodness_of_fit(fit_occupancy(heard), seed=1, replicates=40)
    >>> bool(check.p.value > 0.05), check.p.interval
    (True, 'wilson+surveys:40')
    """
    if fit.maximum is None or estimates.NOT_IDENTIFIED in fit.flags:
        return GoodnessOfFit(
            statistic=None,
            p=not_estimable("goodness of fit, p", method=METHOD, flags=fit.flags),
            c_hat=not_estimable("overdispersion, c-hat", method=METHOD, flags=fit.flags),
        )
    frame = survey_frame(fit)
    theta = fit.maximum.theta
    observed = pearson_of(frame, frame.coded(fit.history), theta)
    rng = np.random.default_rng(seed)
    surveys = _enough(fit) if replicates is None else replicates
    few_histories = fit.history.shape[1] <= _MOST_VISITS
    if fit.history.size > _MANY and not frame.visits_alike and few_histories:
        simulated = simulated_statistics(frame, fit.maximum, surveys=surveys, rng=rng).tolist()
    else:
        simulated = _fitted_again(frame, fit.maximum, surveys, rng)
    worse = sum(value >= observed for value in simulated)
    # The data count as one of the surveys, so that p is never 0.
    share = wilson(worse + 1, len(simulated) + 1, name="goodness of fit, p")
    poor = (estimates.POOR_FIT,) if share.value is not None and share.value < _POOR else ()
    flags = merge_flags(fit.flags, poor)
    mean = float(np.mean(simulated)) if simulated else 0.0
    return GoodnessOfFit(
        statistic=observed,
        p=Estimate(
            name=share.name,
            value=share.value,
            low=share.low,
            high=share.high,
            interval=f"{WILSON}+surveys:{len(simulated)}",
            method=METHOD,
            flags=flags,
        ),
        c_hat=Estimate(
            name="overdispersion, c-hat",
            value=observed / mean if mean else None,
            low=None,
            high=None,
            interval="none",
            method=METHOD,
            flags=flags,
        ),
    )


def _fitted_again(
    frame: SurveyFrame, near: Maximum, surveys: int, rng: np.random.Generator
) -> list[float]:
    """X2 of surveys that are drawn at a maximum, each at the maximum of its own."""
    chances, statistics = frame.chances(near.theta), []
    for _ in range(surveys):
        codes = frame.simulated(*chances, rng)
        if codes.any():
            goal = objective_of(frame.blocks(codes))
            theta = maximize(goal, near.theta, curvature=near.hessian).theta
            statistics.append(pearson_of(frame, codes, theta))
    return statistics


def _enough(fit: OccupancyFit) -> int:
    return _SURVEYS if fit.history.size <= _MANY else _FEWEST_SURVEYS


def quasi_level(level: float, c_hat: float) -> float:
    """The level at which an interval is sqrt(c-hat) times as wide on the scale of its likelihood.

    Quasi-likelihood: the drop of the log-likelihood that an interval allows is multiplied by
    c-hat, where that is above 1 (Burnham & Anderson 2002, Model Selection and Multimodel
    Inference, sec. 2.5; section from memory).
    """
    wide = float(2 * ndtr(normal_quantile(level) * np.sqrt(max(c_hat, 1.0))) - 1)
    return min(wide, _WIDEST)


def quasi(estimate: Estimate, c_hat: float, *, level: float = 0.95) -> Estimate:
    """Say of an estimate made at ``quasi_level`` what it is."""
    if c_hat <= 1:
        return estimate
    factor = float(np.sqrt(c_hat))
    return replace(
        estimate,
        level=level,
        se=None if estimate.se is None else estimate.se * factor,
        interval=f"{estimate.interval}+widened:{factor:.2f}",
    )
