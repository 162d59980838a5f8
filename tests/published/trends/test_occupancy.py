"""Occupancy against printed and recomputed values.

The likelihood of the constant model uses only the number of sites, visits, sites with detections
and detections, so any arrangement with those totals will do.
"""

import dataclasses

import numpy as np
import pytest

from surveys.trends.models.occupancy import fit_occupancy
from surveys.trends.models.occupancy_estimates import (
    detection_share,
    occupancy_share,
    occupied_given_histories,
)
from surveys.trends.models.trend import (
    fit_trend,
    summarize_trend,
)
from tests.unit.trends.simulated import (
    persistent_seasons,
    spread_detections,
)


@pytest.fixture(scope="module")
def salamanders():
    """MacKenzie et al. 2006, Occupancy Estimation and Modeling, ch. 4: Blue Ridge salamanders,
    39 sites, 5 surveys, 18 sites with detections, 30 detections."""
    return fit_occupancy(spread_detections(39, 5, 18, 30))


class TestSalamanders:
    """Printed: psi 0.595 (0.123), p 0.259 (from memory). Six decimals recomputed from the
    likelihood to 40 digits; a printed SE(p) of 0.055 does not come out of the likelihood."""

    def test_estimates(self, salamanders):
        psi, p = occupancy_share(salamanders), detection_share(salamanders)
        assert psi.value == pytest.approx(0.594623, abs=1e-6)
        assert psi.se == pytest.approx(0.122599, abs=1e-6)
        assert p.value == pytest.approx(0.258729, abs=1e-6)
        assert p.se == pytest.approx(0.057702, abs=1e-6)
        assert 1 - (1 - p.value) ** 5 == pytest.approx(0.776187, abs=1e-6)

    def test_likelihood_and_naive(self, salamanders):
        assert -2 * salamanders.log_likelihood == pytest.approx(161.758590, abs=1e-6)
        assert salamanders.aic == pytest.approx(165.758590, abs=1e-6)
        assert salamanders.naive.value == pytest.approx(0.461538, abs=1e-6)

    def test_logit_standard_errors_and_covariance(self, salamanders):
        se = np.sqrt(np.diag(salamanders.covariance))
        assert se == pytest.approx([0.5086, 0.3009], abs=5e-5)
        psi, p = occupancy_share(salamanders).value, detection_share(salamanders).value
        on_shares = salamanders.covariance[0, 1] * psi * (1 - psi) * p * (1 - p)
        assert on_shares == pytest.approx(-0.003851, abs=1e-6)

    def test_wald_intervals(self, salamanders):
        psi = occupancy_share(salamanders, interval="wald")
        p = detection_share(salamanders, interval="wald")
        assert (psi.low, psi.high) == pytest.approx((0.3512, 0.7990), abs=5e-5)
        assert (p.low, p.high) == pytest.approx((0.1622, 0.3863), abs=5e-5)

    def test_occupied_though_never_heard(self, salamanders):
        assert occupied_given_histories(salamanders)[-1] == pytest.approx(0.247156, abs=1e-6)

    def test_arrangement_does_not_matter(self, salamanders):
        rng = np.random.default_rng(1)
        history = spread_detections(39, 5, 18, 30)
        shuffled = rng.permuted(history, axis=1)[rng.permutation(39)]
        other = fit_occupancy(shuffled)
        assert other.log_likelihood == pytest.approx(salamanders.log_likelihood, abs=1e-10)


@pytest.mark.parametrize(
    ("totals", "psi", "psi_se", "p", "p_se", "deviance"),
    [
        ((20, 3, 12, 22), 0.656484, 0.126821, 0.558531, 0.098693, 73.28294),
        ((100, 4, 60, 150), 0.614115, 0.050391, 0.610635, 0.033697, 449.57167),
    ],
)
def test_recomputed_values(totals, psi, psi_se, p, p_se, deviance):
    """Own inputs, recomputed to 40 digits from the closed form p / (1 - (1 - p)^T) = d / (nD T)."""
    fit = fit_occupancy(spread_detections(*totals))
    occupancy, detection = occupancy_share(fit), detection_share(fit)
    assert (occupancy.value, occupancy.se) == pytest.approx((psi, psi_se), abs=1e-6)
    assert (detection.value, detection.se) == pytest.approx((p, p_se), abs=1e-6)
    assert -2 * fit.log_likelihood == pytest.approx(deviance, abs=1e-5)


def test_closed_form_above_one_means_everywhere():
    """10 sites, 2 visits, 8 heard, 9 detections: psi = 1 and p = d / (n T) = 0.45."""
    fit = fit_occupancy(spread_detections(10, 2, 8, 9))
    assert occupancy_share(fit).value == 1.0
    assert detection_share(fit).value == pytest.approx(0.45, abs=1e-6)


def test_profile_interval_by_a_grid():
    """The definition (Venzon & Moolgavkar 1988): ends where twice the drop is 3.841459."""
    sites, visits, heard, detections = 39, 5, 18, 30
    p = np.linspace(0.05, 0.6, 5501)
    found = occupancy_share(fit_occupancy(spread_detections(sites, visits, heard, detections)))

    def deviance(psi):
        silent = np.log(psi * (1 - p) ** visits + 1 - psi)
        total = heard * np.log(psi) + detections * np.log(p)
        total = total + (heard * visits - detections) * np.log1p(-p) + (sites - heard) * silent
        return -2 * total.max()

    for end in (found.low, found.high):
        assert deviance(end) - 161.758590 == pytest.approx(3.841459, abs=1e-3)


def test_trend_between_two_shares():
    """0.62 to 0.48 over 10 years is -2.5269 % a year: 100 ((0.48 / 0.62)^(1 / 10) - 1)."""
    trend = fit_trend(
        *persistent_seasons(
            np.random.default_rng(1), sites=60, psi=np.linspace(0.62, 0.48, 11), p=0.5, visits=3
        )
    )
    start, end = (np.log(share / (1 - share)) for share in (0.62, 0.48))
    line = np.array([(start + end) / 2, (end - start) / 10, 0.0])
    known = dataclasses.replace(trend.fit, coefficients=line)
    summary = summarize_trend(dataclasses.replace(trend, fit=known))
    assert summary.occupancy.value == pytest.approx(-2.5269, abs=5e-5)
    assert summary.points.value == pytest.approx(-1.4)
