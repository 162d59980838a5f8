"""Yearly levels of full chorus against a second library, and how often the interval is right."""

import warnings

import numpy as np
import pytest
from scipy.stats import binom
from statsmodels.miscmodels.ordinal_model import OrderedModel

from surveys.trends.models.chorus_levels import fit_chorus_levels
from surveys.trends.models.year_slope import slope_over_years

PROGRAMS = 60
HEARD = np.array([[1, 0, 0, 0], [0.4, 0.6, 0, 0], [0.3, 0.3, 0.4, 0], [0.2, 0.2, 0.25, 0.35]])


def latent_program(rng, *, slope, routes=20, stops=8, years=8, year_sd=0.3):
    """Highest index of each stop and season; stops keep their luck, years scatter."""
    route, stop, year = (axis.ravel() for axis in np.indices((routes, stops, years)))
    luck = rng.logistic(size=(routes * stops, years))
    for later in range(1, years):
        kept = rng.random(len(luck)) < 0.6
        luck[kept, later] = luck[kept, later - 1]
    line = rng.normal(0, 0.6, routes)[route] + slope * year + rng.normal(0, year_sd, years)[year]
    latent = luck[route * stops + stop, year] + line
    return (latent > -1).astype(int) + (latent > 0) + (latent > 1), 2015 + year, route


def test_where_nothing_is_missed_levels_are_those_of_ordered_logistic_regression():
    """statsmodels: the same model of the highest index. Six visits that nearly always hear it leave
    nothing to what is missed; the weak prior on years moves levels by less than the tolerance."""
    rng = np.random.default_rng(3)
    highest, year, route = latent_program(rng, slope=-0.1)
    index = np.repeat(highest[:, None], 6, axis=1).astype(float)
    levels = fit_chorus_levels(index, year, route)
    years = np.unique(year)
    dummies = (year[:, None] == years[1:]).astype(float)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        fit = OrderedModel(highest, dummies, distr="logit").fit(method="bfgs", disp=False)
    thresholds = fit.model.transform_threshold_params(fit.params[-3:])[1:-1]
    expected = np.r_[0.0, fit.params[: len(years) - 1]] - thresholds[-1]
    assert levels.levels == pytest.approx(expected, abs=0.02)
    assert np.sqrt(np.diag(levels.model_covariance)[1:]).mean() == pytest.approx(
        _standard_errors(fit, len(years)).mean(), rel=0.02
    )


def _standard_errors(fit, years):
    """Of the same levels, by the delta method."""
    jacobian = np.zeros((years - 1, len(fit.params)))
    jacobian[:, : years - 1] = np.eye(years - 1)
    steps = np.exp(fit.params[-2:])
    jacobian[:, -3:] = -np.r_[1.0, steps]
    covariance = np.asarray(fit.cov_params())
    return np.sqrt(np.diag(jacobian @ covariance @ jacobian.T))


@pytest.mark.parametrize("slope", [0.0, -0.15])
def test_the_interval_holds_the_change_of_simulated_programs(slope):
    """The slope of the mean over routes is flatter than that of one route, by the root of one plus
    their variance over that of the logistic law, 3.29 (Zeger, Liang & Albert 1988, Biometrics
    44:1049-1060, from memory). A bound is passed by chance in fewer than one of 10,000 draws."""
    held = 0
    for number in range(PROGRAMS):
        rng = np.random.default_rng([11, number])
        highest, year, route = latent_program(rng, slope=slope)
        heard = rng.random((len(year), 3))[:, :, None] > HEARD.cumsum(axis=1)[highest][:, None]
        levels = fit_chorus_levels(heard.sum(axis=2).astype(float), year, route)
        low, high = slope_over_years(levels).limits
        held += low <= slope / np.sqrt(1 + 0.6**2 / 3.29) <= high
    assert held >= binom.ppf(1e-4, PROGRAMS, 0.95)
