"""The line where good years may follow good years."""

import numpy as np
import pytest

from surveys.trends.models.year_correlation import (
    restricted_log_likelihood,
    slope_with_correlated_years,
)
from surveys.trends.models.year_slope import line_design, slope_over_years
from tests.unit.trends.models.test_year_slope import YEARS, make_levels, scattered


def waves(seed=0, rho=0.9, sd=0.6):
    rng = np.random.default_rng(seed)
    shocks = rng.normal(size=len(YEARS))
    effects = shocks.copy()
    for year in range(1, len(YEARS)):
        effects[year] = rho * effects[year - 1] + np.sqrt(1 - rho**2) * shocks[year]
    return sd * effects


@pytest.mark.parametrize("seed", range(4))
def test_the_slope_is_the_same_and_its_interval_wider(seed):
    levels = make_levels(waves(seed), covariance=np.eye(12) * 0.01)
    apart, together = slope_over_years(levels), slope_with_correlated_years(levels)
    assert together.slope == apart.slope
    middle = sum(together.limits) / 2
    assert middle == pytest.approx(apart.slope, abs=1e-12)
    assert np.ptp(together.limits) > np.ptp(apart.limits)


def test_waves_widen_it_more_than_noise():
    def ratio(values):
        levels = make_levels(values, covariance=np.eye(12) * 0.01)
        apart, together = slope_over_years(levels), slope_with_correlated_years(levels)
        return np.ptp(together.limits) / np.ptp(apart.limits)

    noise = np.mean([ratio(scattered(0.6, seed=seed, slope=0.0)) for seed in range(6)])
    wave = np.mean([ratio(waves(seed)) for seed in range(6)])
    assert wave > noise * 1.1


def test_without_a_line_there_is_none():
    few = make_levels([0.0, 1.0], years=np.array([2015, 2016]), covariance=np.eye(2))
    assert slope_with_correlated_years(few) is None


def test_the_likelihood_is_lower_for_another_correlation():
    """Levels drawn with a correlation of 0.9 speak for it."""
    apart = np.abs(YEARS[:, None] - YEARS[None, :])
    better = 0
    for seed in range(12):
        levels = make_levels(waves(seed), covariance=np.eye(12) * 0.001)
        design = line_design(levels, ())
        strong, none = (
            restricted_log_likelihood(design, levels, np.asarray(rho**apart, float))
            for rho in (0.9, 0.0)
        )
        better += strong > none
    assert better >= 10
