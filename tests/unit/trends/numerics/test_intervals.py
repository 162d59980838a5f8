"""Binomial intervals and transforms of an estimate."""

import math

import pytest

from surveys.trends.estimates import NO_EFFORT, Estimate
from surveys.trends.numerics.intervals import (
    clopper_pearson,
    logistic,
    normal_quantile,
    percent_per_step,
    transform,
    wilson,
)


@pytest.mark.parametrize("interval", [wilson, clopper_pearson])
class TestBothIntervals:
    def test_no_trials_has_no_value(self, interval):
        share = interval(0, 0)
        assert share.name == "share"
        assert (share.value, share.low, share.high) == (None, None, None)
        assert NO_EFFORT in share.flags

    @pytest.mark.parametrize(("successes", "trials"), [(0, 7), (7, 7), (3, 7), (1, 1000)])
    def test_holds_the_share_and_stays_in_range(self, interval, successes, trials):
        share = interval(successes, trials)
        assert 0.0 <= share.low <= share.value <= share.high <= 1.0

    def test_ends_are_exact_at_none_and_all(self, interval):
        assert interval(0, 7).low == 0.0
        assert interval(7, 7).high == 1.0

    def test_mirror_image(self, interval):
        few, many = interval(2, 9), interval(7, 9)
        assert few.low == pytest.approx(1 - many.high, abs=1e-12)

    def test_wider_at_a_higher_level(self, interval):
        assert interval(3, 9, level=0.99).low < interval(3, 9, level=0.9).low

    @pytest.mark.parametrize(("successes", "trials"), [(-1, 5), (6, 5), (0, -1)])
    def test_impossible_counts_are_refused(self, interval, successes, trials):
        with pytest.raises(ValueError, match="successes"):
            interval(successes, trials)

    @pytest.mark.parametrize("level", [0.0, 1.0, 95])
    def test_a_level_is_a_share(self, interval, level):
        with pytest.raises(ValueError, match="level"):
            interval(1, 2, level=level)


def estimate(value, low, high):
    return Estimate(name="x", value=value, low=low, high=high, interval="i", method="m", se=0.1)


def test_transform_keeps_the_order_of_the_limits():
    turned = transform(estimate(1.0, 0.5, 2.0), lambda x: -x, name="y")
    assert (turned.name, turned.value, turned.low, turned.high) == ("y", -1.0, -2.0, -0.5)
    assert turned.se is None


def test_transform_leaves_missing_ends_missing():
    turned = transform(estimate(1.0, None, 2.0), math.exp, name="y")
    assert turned.low is None
    assert turned.high == pytest.approx(math.exp(2))


def test_logistic_does_not_overflow():
    assert logistic(-1000.0) == 0.0
    assert logistic(1000.0) == 1.0
    assert logistic(0.0) == 0.5


def test_percent_per_step_of_no_change_is_zero():
    assert percent_per_step(0.0) == 0.0


def test_normal_quantile():
    assert normal_quantile(0.95) == pytest.approx(1.959964, abs=1e-6)
