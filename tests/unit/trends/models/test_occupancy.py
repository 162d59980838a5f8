"""Fitting the occupancy model: what it recovers, and what it says when it cannot."""

import numpy as np
import pytest

from surveys.trends import estimates
from surveys.trends.models.occupancy import (
    fit_occupancy,
    fit_occupancy_designs,
    history_flags,
)
from surveys.trends.models.occupancy_estimates import (
    coefficient_estimates,
    detection_share,
    occupancy_share,
    occupied_given_histories,
    share_at,
)
from surveys.trends.numerics import optimize
from surveys.trends.numerics.design import Design, factor_design, site_design
from tests.unit.trends.simulated import occupancy_histories, spread_detections

NAN = float("nan")


@pytest.fixture(scope="module")
def with_covariates():
    rng = np.random.default_rng(11)
    fish = rng.integers(0, 2, 800).astype(float)
    air = rng.normal(50, 8, (800, 4))
    psi = 1 / (1 + np.exp(-(0.8 - 1.5 * fish)))
    p = 1 / (1 + np.exp(-(-0.3 + 0.08 * (air - 50))))
    history = occupancy_histories(rng, psi=psi, p=p)
    fit = fit_occupancy(history, occupancy={"fish": fish}, detection={"air": air})
    return history, fish, air, fit


class TestCovariates:
    truth = (0.8, -1.5, -0.3 - 0.08 * 50, 0.08)

    def test_truth_is_inside_the_intervals(self, with_covariates):
        estimates = coefficient_estimates(with_covariates[3], level=0.99)
        for estimate, truth in zip(estimates, self.truth, strict=True):
            assert estimate.low < truth < estimate.high
            assert estimate.flags == ()

    def test_names_say_which_part(self, with_covariates):
        assert [e.name for e in coefficient_estimates(with_covariates[3])] == [
            "occupancy: intercept",
            "occupancy: fish",
            "detection: intercept",
            "detection: air",
        ]

    def test_units_of_a_covariate_do_not_matter(self, with_covariates):
        history, fish, air, fit = with_covariates
        celsius = fit_occupancy(
            history, occupancy={"fish": fish}, detection={"air": (air - 32) / 1.8}
        )
        assert celsius.log_likelihood == pytest.approx(fit.log_likelihood, abs=1e-8)
        assert celsius.coefficients[3] == pytest.approx(fit.coefficients[3] * 1.8, rel=1e-6)

    def test_profile_and_wald_agree_with_much_data(self, with_covariates):
        fit = with_covariates[3]
        for profile, wald in zip(
            coefficient_estimates(fit), coefficient_estimates(fit, interval="wald"), strict=True
        ):
            assert profile.low == pytest.approx(wald.low, abs=0.1 * profile.se)
            assert profile.high == pytest.approx(wald.high, abs=0.1 * profile.se)

    def test_share_at_a_row_and_mean_share(self, with_covariates):
        _, fish, _, fit = with_covariates
        without = share_at(fit, "occupancy", np.array([1.0, 0.0]), name="no fish")
        with_fish = share_at(fit, "occupancy", np.array([1.0, 1.0]), name="fish")
        mean = occupancy_share(fit)
        weight = fish.mean()
        assert mean.value == pytest.approx(
            weight * with_fish.value + (1 - weight) * without.value, abs=1e-9
        )
        assert "delta" in mean.interval
        assert without.interval == "profile"

    def test_mean_detection(self, with_covariates):
        share = detection_share(with_covariates[3])
        assert share.low < 0.44 < share.high

    def test_row_must_fit_the_design(self, with_covariates):
        with pytest.raises(ValueError, match="expected 2 numbers"):
            share_at(with_covariates[3], "detection", np.ones(3), name="x")


class TestMissing:
    def test_covariates_of_visits_that_were_not_made_enter_no_mean(self):
        rng = np.random.default_rng(3)
        history = np.where(rng.random((60, 3)) < 0.2, NAN, spread_detections(60, 3, 30, 60))
        wind = rng.normal(size=(60, 3))
        shares = [
            detection_share(fit_occupancy(history, detection={"wind": values}))
            for values in (wind, np.where(np.isnan(history), 2.0, wind))
        ]
        assert shares[0].value == pytest.approx(shares[1].value, abs=1e-6)

    def test_a_missing_visit_is_not_a_silent_one(self):
        history = spread_detections(40, 3, 20, 35)
        longer = np.hstack([history, np.full((40, 1), NAN)])
        assert fit_occupancy(longer).log_likelihood == fit_occupancy(history).log_likelihood

    def test_sites_without_visits_do_not_count(self):
        history = np.vstack([spread_detections(40, 3, 20, 35), np.full((5, 3), NAN)])
        fit = fit_occupancy(history)
        assert fit.rows == 40
        assert fit.flags == ()

    def test_visit_without_its_covariate_is_left_out_and_said(self):
        history = spread_detections(40, 3, 20, 35)
        air = np.tile([0.0, 1.0, 2.0], (40, 1))
        gap = air.copy()
        gap[0, 2] = NAN
        shorter = history.copy()
        shorter[0, 2] = NAN
        fit = fit_occupancy(history, detection={"air": gap})
        assert fit.log_likelihood == pytest.approx(
            fit_occupancy(shorter, detection={"air": air}).log_likelihood
        )
        assert estimates.COVARIATE_MISSING in fit.flags

    def test_site_without_its_covariate_is_left_out_and_said(self):
        fish = np.tile([0.0, 1.0], 20)
        fish[3] = NAN
        fit = fit_occupancy(spread_detections(40, 3, 20, 35), occupancy={"fish": fish})
        assert fit.rows == 39
        assert estimates.COVARIATE_MISSING in fit.flags


class TestEdges:
    def test_psi_at_one_has_a_one_sided_bound(self):
        share = occupancy_share(fit_occupancy(spread_detections(10, 2, 8, 9)))
        assert (share.value, share.high) == (1.0, 1.0)
        assert 0.5 < share.low < 0.9
        assert {estimates.EDGE_OF_RANGE, estimates.ONE_SIDED} <= set(share.flags)
        assert share.se is None

    def test_wald_is_not_offered_at_the_edge(self):
        share = occupancy_share(fit_occupancy(spread_detections(10, 2, 8, 9)), interval="wald")
        assert share.interval == "profile"

    def test_detection_at_the_edge_of_psi_still_has_its_interval(self):
        share = detection_share(fit_occupancy(spread_detections(10, 2, 8, 9)))
        assert share.value == pytest.approx(0.45, abs=1e-6)
        assert estimates.EDGE_OF_RANGE not in share.flags

    def test_always_heard_where_present(self):
        fit = fit_occupancy(spread_detections(20, 3, 12, 36))
        share, rate = occupancy_share(fit), detection_share(fit)
        assert share.value == pytest.approx(0.6, abs=1e-4)
        assert rate.value == 1.0
        assert rate.low > 0.8

    def test_never_heard(self):
        fit = fit_occupancy(np.zeros((20, 3)))
        share = occupancy_share(fit)
        assert fit.naive.value == 0.0
        assert (share.value, share.low, share.high) == (None, None, None)
        assert estimates.NEVER_HEARD in share.flags
        assert coefficient_estimates(fit)[0].value is None
        assert np.isnan(occupied_given_histories(fit)).all()
        assert (fit.covariance.shape, fit.covariance.dtype) == ((2, 2), float)
        assert np.isnan(fit.covariance).all()

    @pytest.mark.parametrize(
        ("history", "flags"),
        [
            ([[0.0, 0]], (estimates.NEVER_HEARD, estimates.TOO_FEW_DATA)),
            (
                [[0.0], [0]],
                (
                    estimates.NEVER_HEARD,
                    estimates.TOO_FEW_DATA,
                    estimates.NO_REPEAT_VISITS,
                    estimates.NOT_IDENTIFIED,
                ),
            ),
            ([[1.0, NAN]], (estimates.NO_REPEAT_VISITS, estimates.NOT_IDENTIFIED)),
            ([[1.0, 0], [0, 1]], (estimates.NEVER_HEARD_TWICE, estimates.NOT_IDENTIFIED)),
            ([[1.0, 1], [0, 1]], ()),
        ],
    )
    def test_all_that_histories_cannot_carry_is_said(self, history, flags):
        assert history_flags(np.array(history)) == flags

    def test_naive_occupancy_has_its_name(self):
        naive = fit_occupancy([[1.0, 0], [0, 0]]).naive
        assert (naive.name, naive.value) == ("naive occupancy", 0.5)

    def test_never_heard_twice_bounds_occupancy_from_below_only(self):
        share = occupancy_share(fit_occupancy(spread_detections(30, 3, 4, 4)))
        assert share.value is None
        assert share.low < 4 / 30
        assert share.high == 1.0
        assert {estimates.NEVER_HEARD_TWICE, estimates.NOT_IDENTIFIED} <= set(share.flags)

    @pytest.mark.parametrize(
        "history", [np.array([[1.0], [0.0], [1.0]]), np.array([[1, NAN], [NAN, 0], [NAN, 1]])]
    )
    def test_no_repeat_visits(self, history):
        share = occupancy_share(fit_occupancy(history))
        assert share.value is None
        assert estimates.NO_REPEAT_VISITS in share.flags

    @pytest.mark.parametrize("shape", [(0, 0), (0, 3), (4, 0)])
    def test_no_data(self, shape):
        fit = fit_occupancy(np.zeros(shape))
        assert estimates.NO_EFFORT in fit.flags
        assert occupancy_share(fit).value is None
        assert detection_share(fit).value is None

    def test_twin_covariates_cannot_be_told_apart(self):
        rng = np.random.default_rng(3)
        x = rng.normal(size=60)
        fit = fit_occupancy(spread_detections(60, 3, 30, 60), occupancy={"a": x, "b": 2 * x})
        assert estimates.NOT_IDENTIFIED in fit.flags
        assert occupancy_share(fit).value is None
        assert coefficient_estimates(fit)[1].value is None

    def test_search_cut_short_says_so(self, monkeypatch):
        monkeypatch.setattr(optimize, "_MOST_ITERATIONS", 1)
        fit = fit_occupancy(spread_detections(40, 3, 20, 35))
        assert estimates.DID_NOT_CONVERGE in fit.flags
        assert estimates.DID_NOT_CONVERGE in occupancy_share(fit, interval="wald").flags

    def test_covariate_that_separates_gives_a_bound(self):
        pond = np.repeat([1.0, 0.0], 20)
        fit = fit_occupancy(spread_detections(40, 4, 20, 50), occupancy={"pond": pond})
        slope = coefficient_estimates(fit)[1]
        assert slope.value is None
        assert slope.low > 0
        assert slope.high is None
        assert estimates.EDGE_OF_RANGE in slope.flags

    def test_mean_share_at_the_edge_has_no_interval(self):
        year = np.repeat([1.0, 0.0], 20)
        history = np.vstack([spread_detections(20, 3, 20, 55), spread_detections(20, 3, 20, 55)])
        share = occupancy_share(fit_occupancy(history, occupancy={"year": year}))
        assert share.low is None
        assert estimates.EDGE_OF_RANGE in share.flags


class TestClusters:
    def test_repeating_every_row_leaves_clustered_errors_alone(self):
        history = spread_detections(60, 3, 30, 50)
        once = fit_occupancy(history, clusters=np.arange(60))
        twice = fit_occupancy(np.tile(history, (2, 1)), clusters=np.tile(np.arange(60), 2))
        np.testing.assert_allclose(twice.clustered_covariance, once.clustered_covariance, rtol=1e-6)
        np.testing.assert_allclose(twice.covariance, once.covariance / 2, rtol=1e-6)

    def test_clustered_interval_is_named(self):
        fit = fit_occupancy(spread_detections(60, 3, 30, 50), clusters=np.arange(60))
        assert "clustered" in occupancy_share(fit, interval="clustered").interval

    def test_few_clusters_are_flagged(self):
        fit = fit_occupancy(spread_detections(60, 3, 30, 50), clusters=np.arange(60) % 4)
        assert estimates.FEW_CLUSTERS in fit.flags

    def test_a_mean_share_keeps_the_flags_of_its_fit(self):
        """A mean over rows that differ, by the delta method: few clusters, and at the edge."""
        pond, cluster = np.repeat([1.0, 0.0], 20), np.arange(40) % 4
        history = np.vstack([spread_detections(20, 3, 14, 25), spread_detections(20, 3, 8, 13)])
        fit = fit_occupancy(history, occupancy={"pond": pond}, clusters=cluster)
        assert occupancy_share(fit).flags == fit.flags == (estimates.FEW_CLUSTERS,)
        history = np.vstack([spread_detections(20, 3, 20, 55), spread_detections(20, 3, 20, 55)])
        edge = fit_occupancy(history, occupancy={"pond": pond}, clusters=cluster)
        assert {estimates.FEW_CLUSTERS, estimates.EDGE_OF_RANGE} <= set(occupancy_share(edge).flags)

    def test_clustered_interval_needs_clusters(self):
        fit = fit_occupancy(spread_detections(60, 3, 30, 50))
        with pytest.raises(ValueError, match="clusters"):
            occupancy_share(fit, interval="clustered")


class TestShapes:
    @pytest.mark.parametrize(
        ("values", "words"),
        [
            ([0, 1, 1], "2 axes"),
            ([[0, 2]], "row 0, visit 1"),
            ([["a"]], "expected numbers"),
        ],
    )
    def test_histories(self, values, words):
        with pytest.raises(ValueError, match=words):
            fit_occupancy(values)

    @pytest.mark.parametrize(
        "more",
        [
            {"occupancy": {"fish": [1.0]}},
            {"detection": {"air": np.zeros((4, 3))}},
            {"clusters": [1, 2]},
        ],
    )
    def test_covariates_and_clusters(self, more):
        with pytest.raises(ValueError, match=r"fish|air|clusters"):
            fit_occupancy(np.zeros((4, 2)), **more)

    def test_designs(self):
        history = np.zeros((4, 2))
        with pytest.raises(ValueError, match="psi design"):
            fit_occupancy_designs(history, psi=site_design(3), p=site_design(4))
        with pytest.raises(ValueError, match="p design"):
            fit_occupancy_designs(history, psi=site_design(4), p=site_design(3))
        with pytest.raises(ValueError, match="names do not fit"):
            Design(names=("a",), matrix=np.ones((2, 2)))


def test_factor_gives_each_level_its_own_fit():
    early, late = spread_detections(40, 3, 25, 40), spread_detections(40, 3, 10, 18)
    group = np.repeat([1, 2], 40)
    levels = np.array([1, 2])
    fit = fit_occupancy_designs(
        np.vstack([early, late]),
        psi=factor_design(group, levels=levels, prefix="g"),
        p=factor_design(group, levels=levels, prefix="g"),
    )
    alone = occupancy_share(fit_occupancy(late))
    share = share_at(fit, "occupancy", np.array([0.0, 1.0]), name="late")
    assert share.value == pytest.approx(alone.value, rel=1e-6)
    assert share.low == pytest.approx(alone.low, rel=1e-4)


def test_heard_sites_are_occupied_and_silent_ones_may_be():
    fit = fit_occupancy(spread_detections(39, 5, 18, 30))
    chance = occupied_given_histories(fit)
    assert (chance[:18] == 1.0).all()
    assert (chance[18:] < fit.naive.value).all()
