"""Trends of all species together against a published example, scipy and statsmodels."""

import numpy as np
import pytest
from scipy.stats import false_discovery_control, norm
from statsmodels.stats.meta_analysis import combine_effects
from statsmodels.stats.multitest import multipletests

from surveys.trends.community import _given_spread, community_of, spread_weights
from surveys.trends.estimates import Estimate

# Rubin 1981, Journal of Educational Statistics 6:377-401, table 1: effects of coaching in eight
# schools, and their standard errors.
EFFECTS = np.array([28.0, 8, -3, 7, -1, 1, 18, 12])
ERRORS = np.array([15.0, 10, 16, 11, 9, 11, 10, 18])


def test_eight_schools():
    """Posterior medians A to H 10, 8, 7, 8, 5, 6, 10, 8 in Gelman et al., Bayesian Data Analysis,
    2nd ed., table 5.3 (from memory), by 200 draws: within 1.5."""
    spreads, weights = spread_weights(EFFECTS, ERRORS)
    means, *_ = _given_spread(EFFECTS, ERRORS, spreads)
    assert weights @ means == pytest.approx([11, 8, 6.5, 8, 5, 6, 10.5, 8.5], abs=1.5)


def test_given_the_spread_it_is_the_closed_form_of_the_empirical_bayes_estimator():
    """Efron & Morris 1975, JASA 70:311-319: mean by weights 1 / (error^2 + spread^2), as
    statsmodels combines effects with the same variance between them (Paule-Mandel)."""
    whole = combine_effects(EFFECTS * 3, ERRORS**2, method_re="iterated")
    spread = np.sqrt(np.array([whole.tau2]))
    assert whole.tau2 > 0
    means, variances, mean, mean_variance = _given_spread(EFFECTS * 3, ERRORS, spread)
    assert mean[0] == pytest.approx(whole.mean_effect_re, rel=1e-6)
    assert mean_variance[0] == pytest.approx(whole.sd_eff_w_re**2, rel=1e-6)
    pull = ERRORS**2 / (ERRORS**2 + whole.tau2)
    assert means[0] == pytest.approx(pull * mean[0] + (1 - pull) * EFFECTS * 3, rel=1e-9)
    assert (variances[0] > (1 - pull) * ERRORS**2).all()


def test_false_discovery_rate_is_that_of_two_libraries():
    """Benjamini & Hochberg 1995 by scipy and by statsmodels, p of the log change by the normal."""
    values = np.array([-6.0, -3.5, -2.8, 0.5, 1.9])
    changes = [
        (str(n), Estimate(name="", value=v, low=v - 3, high=v + 3, interval="", method=""))
        for n, v in enumerate(values)
    ]
    told = community_of(changes)
    half = [(np.log1p((v + 3) / 100) - np.log1p((v - 3) / 100)) / 2 for v in values]
    z = np.abs(np.log1p(values / 100)) / (np.array(half) / 1.959963984540054)
    p = 2 * norm.sf(z)
    ours = [species.discovery for species in told.species]
    assert ours == pytest.approx(false_discovery_control(p))
    assert ours == pytest.approx(multipletests(p, method="fdr_bh")[1])
