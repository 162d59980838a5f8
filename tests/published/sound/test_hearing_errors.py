"""Credible intervals of an observer's errors against statsmodels and a printed table.

Brown, Cai & DasGupta 2001, Statistical Science 16:101-133: the interval of Jeffreys; its table 5
prints, for n = 7 and x = 2, 0.065 to 0.648 (from memory).
"""

import pytest
from statsmodels.stats.proportion import proportion_confint

from surveys.sound.hearing_errors import Share


@pytest.mark.parametrize("whole", [1, 7, 20, 300])
def test_limits_are_those_of_a_reference_library(whole):
    for part in range(1, whole, max(whole // 7, 1)):
        expected = proportion_confint(part, whole, method="jeffreys")
        assert Share(part=part, whole=whole).limits == pytest.approx(expected, abs=1e-9)


def test_a_printed_interval():
    assert Share(part=2, whole=7).limits == pytest.approx((0.065, 0.648), abs=5e-4)
