"""How often 95 % intervals hold the truth, over simulated programs.

The long run must lie within 93 to 97 %; one binomial standard error of 500 runs is 1 %. The short
run only guards against gross errors: 80 runs lie above 88 % in all but 1 of 500 samples.
"""

import numpy as np
import pytest

from surveys.trends.models.occupancy import fit_occupancy
from surveys.trends.models.occupancy_estimates import occupancy_share
from surveys.trends.models.trend import (
    fit_trend,
    summarize_trend,
)
from tests.unit.trends.simulated import (
    occupancy_histories,
    persistent_seasons,
)

SLOPE = -0.08


def occupancy_coverage(runs):
    """120 stops, 3 visits, psi 0.6, p 0.4: profile-likelihood interval of occupancy."""
    rng = np.random.default_rng(101)
    held = 0
    for _ in range(runs):
        history = occupancy_histories(rng, psi=np.full(120, 0.6), p=np.full((120, 3), 0.4))
        share = occupancy_share(fit_occupancy(history))
        held += share.low <= 0.6 <= share.high
    return held / runs


def trend_coverage(runs):
    """100 stops that tend to keep their state, 10 years, 3 visits: clustered interval of slope."""
    rng = np.random.default_rng(102)
    psi = 1 / (1 + np.exp(-(0.3 + SLOPE * (np.arange(10) - 4.5))))
    held = 0
    for _ in range(runs):
        survey = persistent_seasons(rng, sites=100, psi=psi, p=0.4, visits=3)
        slope = summarize_trend(fit_trend(*survey)).log_odds
        held += slope.low <= SLOPE <= slope.high
    return held / runs


@pytest.mark.parametrize("coverage", [occupancy_coverage, trend_coverage])
def test_short_run(coverage):
    assert coverage(80) >= 0.88


@pytest.mark.slow
@pytest.mark.parametrize("coverage", [occupancy_coverage, trend_coverage])
def test_long_run(coverage):
    share = coverage(500)
    assert 0.93 <= share <= 0.97


@pytest.mark.slow
def test_errors_that_ignore_sites_cover_too_seldom():
    """Why the clustered interval is the default: the plain one misses the truth more often."""
    rng = np.random.default_rng(102)
    psi = 1 / (1 + np.exp(-(0.3 + SLOPE * (np.arange(10) - 4.5))))
    held = 0
    for _ in range(200):
        survey = persistent_seasons(rng, sites=100, psi=psi, p=0.4, visits=3)
        slope = summarize_trend(fit_trend(*survey), interval="wald").log_odds
        held += slope.low <= SLOPE <= slope.high
    assert held / 200 < 0.9
