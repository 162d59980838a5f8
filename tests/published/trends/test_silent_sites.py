"""What may have been missed where a species was never heard, against the exact binomial limit.

Clopper & Pearson 1934, Biometrika 26:404-413, one-sided, as scipy computes it; for many sites the
rule of three (Hanley & Lippman-Hand 1983, JAMA 249:1743-1745; from memory).
"""

import numpy as np
import pytest
from scipy.stats import binomtest

from surveys.trends.effects import highest_silent_share


@pytest.mark.parametrize("sites", [1, 3, 12, 60])
def test_sites_where_it_cannot_be_missed_have_the_exact_limit(sites):
    exact = binomtest(0, sites, alternative="less").proportion_ci(0.95, "exact").high
    assert highest_silent_share(np.ones(sites)) == pytest.approx(exact, abs=1e-9)


def test_twelve_stops_never_heard_may_be_22_percent():
    assert highest_silent_share(np.ones(12)) == pytest.approx(0.2209, abs=5e-5)


def test_the_rule_of_three():
    assert highest_silent_share(np.ones(500)) == pytest.approx(3 / 500, rel=0.01)


def test_half_the_chance_to_hear_doubles_what_may_be_missed():
    """With a share x and a chance h, silence at a site has 1 - x h."""
    whole = highest_silent_share(np.ones(40))
    assert highest_silent_share(np.full(40, 0.5)) == pytest.approx(2 * whole, rel=1e-9)


def test_too_few_sites_bound_nothing():
    assert highest_silent_share(np.full(2, 0.3)) == 1.0
    assert highest_silent_share(np.array([])) == 1.0
