"""Borrowed detection against integrals by scipy, statsmodels, and how often its interval holds.

The idea: Dorazio & Royle 2005, JASA 100:389-398; Zipkin, DeWan & Royle 2009, Journal of Applied
Ecology 46:815-822 (both from memory).
"""

from pathlib import Path

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.special import expit, logit
from scipy.stats import binom, norm
from statsmodels.stats.meta_analysis import combine_effects

from surveys.trends.borrowed import _chances, borrowed_share
from surveys.trends.estimates import Estimate
from surveys.trends.numerics.intervals import wilson
from tests.published.trends.calibration.borrowed import BORROWINGS, count_borrowing

BY_NAME = {case.name: case for case in BORROWINGS}
Z = norm.ppf(0.975)


def chance(level, error):
    low, value, high = expit(level + error * Z * np.array([-1.0, 0.0, 1.0]))
    return Estimate(name="", value=value, low=low, high=high, interval="", method="")


def test_with_a_chance_that_is_known_it_is_the_posterior_of_the_share_by_quadrature():
    """Twenty species, all heard on 60 of 100 visits: binomial likelihood of 30 of 100 sites heard
    with chance 0.6 times the share, prior of Jeffreys, integrated by scipy."""
    share = borrowed_share(wilson(30, 100), [chance(logit(0.6), 0.001)] * 20).share

    def density(psi):
        return psi**-0.5 * (1 - psi) ** -0.5 * binom.pmf(30, 100, 0.6 * psi)

    whole, _ = quad(density, 0, 1)
    for limit, below in ((share.low, 0.025), (share.value, 0.5), (share.high, 0.975)):
        part, _ = quad(density, 0, limit)
        assert part / whole == pytest.approx(below, abs=0.004)


def test_mean_and_spread_of_many_species_are_those_of_statsmodels():
    """Paule & Mandel 1982 by statsmodels; a flat prior of the spread tells the same from sixty
    species, to a tenth."""
    rng = np.random.default_rng(3)
    errors = rng.uniform(0.1, 0.4, 60)
    levels = rng.normal(-0.4, 0.7, 60) + rng.normal(0, errors)
    whole = combine_effects(levels, errors**2, method_re="iterated")
    chances, weights = _chances([chance(*one) for one in zip(levels, errors, strict=True)])
    mean = weights @ logit(chances)
    spread = np.sqrt(weights @ (logit(chances) - mean) ** 2)
    assert mean == pytest.approx(whole.mean_effect_re, abs=0.02)
    assert spread == pytest.approx(np.sqrt(whole.tau2 + whole.sd_eff_w_re**2), rel=0.1)


def test_share_over_unlike_species_by_plain_summation():
    """The two integrals as sums of draws: 400,000 chances for one more species, from the posterior
    of mean and spread of six."""
    levels, error = np.array([-1.0, -0.5, 0.0, 0.2, 0.6, 1.1]), 0.25
    spreads = np.linspace(0.0005, 20, 20_000)
    variance = spreads**2 + error**2
    # Posterior of the spread with equal errors: the mean integrated out (Gelman et al., Bayesian
    # Data Analysis, equation 5.21, from memory).
    squares = ((levels - levels.mean()) ** 2).sum()
    posterior = np.exp(-0.5 * (5 * np.log(variance) + squares / variance))
    rng = np.random.default_rng(5)
    spread = rng.choice(spreads, 400_000, p=posterior / posterior.sum())
    mean = levels.mean() + rng.normal(size=400_000) * np.sqrt((spread**2 + error**2) / 6)
    p = expit(mean + rng.normal(size=400_000) * spread)
    psi = rng.beta(0.5, 0.5, 400_000)
    weights = binom.pmf(24, 120, psi * p)
    order = np.argsort(psi)
    below = np.cumsum(weights[order]) / weights.sum()
    expected = psi[order][np.searchsorted(below, [0.025, 0.5, 0.975])]
    borrowed = borrowed_share(wilson(24, 120), [chance(level, error) for level in levels])
    share, detection = borrowed.share, borrowed.detection
    assert [share.low, share.value, share.high] == pytest.approx(expected, abs=0.012)
    of_one_more = np.quantile(p, [0.025, 0.5, 0.975])
    assert [detection.low, detection.value, detection.high] == pytest.approx(of_one_more, abs=0.005)


@pytest.mark.parametrize("name", ["5 species", "10 routes, unlike"])
def test_the_interval_holds_the_true_share_where_a_known_chance_would_not(name):
    """The whole table: `deploy/calibrate --borrowed`. A bound is passed by chance in fewer than one
    of 10,000 draws of seeds."""
    programs = 40
    count = count_borrowing(BY_NAME[name], programs)
    least = binom.ppf(1e-4, programs, 0.95)
    assert count.programs == programs
    assert count.held >= least > count.certain


def test_the_table_has_every_case_and_no_interval_that_is_too_narrow():
    table = Path(__file__).parent / "calibration/borrowed.md"
    rows = [line.split(" | ") for line in table.read_text("utf-8").splitlines() if "(" in line[20:]]
    counted = {row[0].removeprefix("| "): row for row in rows if len(row) > 3}
    for case in BORROWINGS:
        coverage = float(counted[case.name][2].partition(" ")[0])
        assert 95 <= coverage <= 99, case.name
