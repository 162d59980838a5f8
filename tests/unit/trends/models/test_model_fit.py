"""Estimates read off a fitted model, at the ends of the range and where the search fails."""

from dataclasses import replace

import numpy as np
import pytest

from surveys.trends import estimates
from surveys.trends.models.model_fit import (
    clustered,
    derived_share,
    fit_model,
    line_estimate,
    profile_line,
    unfitted,
)
from surveys.trends.numerics.optimize import Objective, numeric_hessian


def rising(theta):
    return -5 * float(np.logaddexp(0.0, -theta[0])), 5 / (1 + np.exp(theta))


def hill(theta):
    return -float(theta @ theta), -2 * theta


def flat(theta):
    return -1.0, np.zeros(len(theta))


def fitted(value_gradient, size=1, **more):
    return fit_model(
        Objective(value_gradient=value_gradient, hessian=numeric_hessian(value_gradient), **more),
        [np.full(size, 0.5)],
        method="m",
        names=tuple(f"b{k}" for k in range(size)),
        rows=10,
        back=np.eye(size),
        predictors=lambda theta: theta,
    )


ONE = np.ones(1)


class TestFlags:
    def test_clean(self):
        assert fitted(hill).flags == ()
        assert fitted(hill).aic == pytest.approx(2.0)

    def test_edge(self):
        assert fitted(rising).flags == (estimates.EDGE_OF_RANGE,)

    def test_not_identified(self):
        assert fitted(flat).flags == (estimates.NOT_IDENTIFIED,)

    @pytest.mark.parametrize("costly", [False, True])
    def test_did_not_converge(self, costly):
        def broken(theta):
            return -abs(float(theta[0])), np.ones(1)

        model = fitted(broken, costly=costly)
        assert estimates.DID_NOT_CONVERGE in model.flags


def test_a_fit_that_could_not_be_tried_has_no_numbers():
    nothing = unfitted(method="m", names=("a", "b"), rows=3, flags=(estimates.NO_EFFORT,))
    for numbers, shape in ((nothing.coefficients, (2,)), (nothing.covariance, (2, 2))):
        assert (numbers.shape, numbers.dtype) == (shape, float)
        assert np.isnan(numbers).all()
    assert np.isnan([nothing.log_likelihood, nothing.aic]).all()
    line = line_estimate(nothing, np.ones(2), name="n", level=0.8, link="log")
    share = derived_share(nothing, lambda theta: (0.5, theta), name="n", level=0.8)
    for estimate in (line, share):
        assert estimate == estimates.not_estimable("n", method="m", flags=nothing.flags, level=0.8)
        assert (estimate.value, estimate.low, estimate.high, estimate.se) == (None,) * 4
        assert estimate.interval == "none"


def test_a_fit_with_one_cluster_keeps_its_flags_and_its_covariance():
    one = clustered(fitted(flat), np.zeros((4, 1)), np.zeros(4, dtype=int))
    assert one.flags == (estimates.NOT_IDENTIFIED, estimates.FEW_CLUSTERS)
    assert one.clusters == 0


class TestLine:
    @pytest.mark.parametrize(("link", "value"), [("logit", 0.5), ("log", 1.0)])
    def test_link(self, link, value):
        found = line_estimate(fitted(hill), ONE, name="x", level=0.95, link=link)
        assert found.value == pytest.approx(value, abs=1e-6)
        assert found.low < found.value < found.high

    def test_share_at_the_end_is_one(self):
        found = line_estimate(fitted(rising), ONE, name="x", level=0.95, link="logit")
        assert (found.value, found.high) == (1.0, 1.0)
        assert found.low == pytest.approx(1 / (1 + np.exp(-0.7585)), abs=1e-3)

    def test_rate_without_end_has_no_value(self):
        found = line_estimate(fitted(rising), ONE, name="x", level=0.95, link="log")
        assert (found.value, found.high) == (None, None)
        assert found.low == pytest.approx(np.exp(0.7585), abs=1e-2)

    def test_rate_of_nothing_is_zero(self):
        model = fitted(lambda theta: (rising(-theta)[0], -rising(-theta)[1]))
        found = line_estimate(model, ONE, name="x", level=0.95, link="log")
        assert (found.value, found.low) == (0.0, 0.0)

    def test_not_identified_has_no_value(self):
        found = line_estimate(fitted(flat), ONE, name="x", level=0.95, link="logit")
        assert (found.value, found.se) == (None, None)
        assert (found.low, found.high) == (0.0, 1.0)
        assert estimates.NOT_IDENTIFIED in found.flags
        assert estimates.EDGE_OF_RANGE not in found.flags

    def test_profile_that_fails_falls_back_to_wald_and_says_so(self):
        model = fitted(hill, size=2)
        short = replace(model.maximum, theta=np.array([0.5, 0.9]), value=-1.06)
        line = profile_line(model.objective, short, np.array([1.0, 0.0]), se=0.2, level=0.95)
        assert line.flags == (estimates.WALD_FALLBACK,)
        assert (line.low, line.high) == pytest.approx((0.5 - 0.392, 0.5 + 0.392), abs=1e-3)


class TestDerived:
    def test_share(self):
        def half(theta):
            return 0.5 + 0.1 * float(theta[0]), np.array([0.1])

        found = derived_share(fitted(hill), half, name="x", level=0.95)
        assert found.value == pytest.approx(0.5)
        assert found.se == pytest.approx(0.1 * np.sqrt(0.5), rel=1e-4)
        assert found.high == pytest.approx(1 - found.low)

    @pytest.mark.parametrize(
        ("slope", "told"), [(0.5, True), (3.0, False)], ids=["narrow", "everything is open"]
    )
    def test_at_the_edge_only_what_the_limits_narrow_down(self, slope, told):
        """Limits at 1.96 * 0.707 * slope on the logit scale, for a curvature of 2."""
        model = replace(fitted(hill), flags=(estimates.EDGE_OF_RANGE,))
        found = derived_share(model, lambda _: (0.5, slope * ONE / 4), name="x", level=0.95)
        assert (found.value is not None) is told
        assert found.low < 0.5 < found.high
        sound = derived_share(fitted(hill), lambda _: (0.5, slope * ONE / 4), name="x", level=0.95)
        assert sound.value == 0.5

    def test_at_the_end_there_is_no_interval(self):
        found = derived_share(fitted(hill), lambda _: (1.0, ONE), name="x", level=0.95)
        assert (found.low, found.high, found.se) == (None, None, None)
        assert estimates.EDGE_OF_RANGE in found.flags

    def test_not_identified(self):
        found = derived_share(fitted(flat), lambda _: (0.5, ONE), name="x", level=0.95)
        assert found.value is None
