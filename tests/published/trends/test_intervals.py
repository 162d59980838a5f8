"""Binomial intervals against a printed table and a second library."""

import pytest
from statsmodels.stats.proportion import proportion_confint

from surveys.trends.estimates import Estimate
from surveys.trends.numerics.intervals import (
    clopper_pearson,
    percent_per_step,
    transform,
    wilson,
)

# Newcombe 1998, Statistics in Medicine 17:857-872, table I, 95 %; printed to four decimals.
NEWCOMBE = [
    (81, 263, (0.2553, 0.3662), (0.2527, 0.3676)),
    (15, 148, (0.0624, 0.1605), (0.0578, 0.1617)),
    (0, 20, (0.0000, 0.1611), (0.0000, 0.1684)),
    (1, 29, (0.0061, 0.1718), (0.0009, 0.1776)),
]


@pytest.mark.parametrize(("successes", "trials", "score", "exact"), NEWCOMBE)
def test_newcombe_1998(successes, trials, score, exact):
    for interval, printed in ((wilson, score), (clopper_pearson, exact)):
        found = interval(successes, trials)
        assert (found.low, found.high) == pytest.approx(printed, abs=5e-5)


@pytest.mark.parametrize(("interval", "method"), [(wilson, "wilson"), (clopper_pearson, "beta")])
@pytest.mark.parametrize("level", [0.8, 0.95, 0.99])
def test_second_library(interval, method, level):
    """statsmodels.stats.proportion.proportion_confint; tolerance: rounding."""
    for trials in (1, 2, 7, 40, 600):
        for successes in {0, 1, trials // 3, trials - 1, trials}:
            low, high = proportion_confint(successes, trials, alpha=1 - level, method=method)
            found = interval(successes, trials, level=level)
            assert found.low == pytest.approx(low, abs=1e-10)
            assert found.high == pytest.approx(high, abs=1e-10)


@pytest.mark.parametrize(
    ("slope", "se", "value", "low", "high"),
    [
        (-0.02, 0.008, -1.9801, -3.5051, -0.4311),
        (0.05, 0.02, 5.1271, 1.0859, 9.3299),
        (-0.10536051565782628, 0.0, -10.0, -10.0, -10.0),
    ],
)
def test_percent_for_one_year(slope, se, value, low, high):
    """100 (exp(b) - 1) with limits b +- 1.959964 SE; recomputed by hand, four decimals."""
    z = 1.959964
    line = Estimate(
        name="b", value=slope, low=slope - z * se, high=slope + z * se, interval="", method=""
    )
    found = transform(line, percent_per_step, name="percent")
    assert (found.value, found.low, found.high) == pytest.approx((value, low, high), abs=5e-5)
