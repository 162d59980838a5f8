"""How often the stored 95 % intervals hold the truth, the choice among the models included.

Each program is a species drawn at random in 140 stops on 14 routes over 12 years
(tests/support/simulated_programs.py). Measured over 500: trend 94.4 %, yearly occupancy of the
stops listened to 96.5 %, its interval over routes for all stops there could have been 96.2 %,
chance of detection 93.6 %. The long run must lie within 93 to 97 %; one binomial standard error of
500 trends is 1 %. The short run only guards against gross errors.
"""

import numpy as np
import pytest

from surveys.trends.analysis import (
    Parts,
    analyze,
)
from tests.support.simulated_programs import (
    simulate,
    some_nature,
)

ONLY_OCCUPANCY = Parts(turnover=False, index=False, phenology=False)
SEED = 103


def coverage(runs):
    """Share of the intervals that hold their truth, by what is estimated."""
    held = {"trend": [], "years": [], "by route": [], "detection": []}
    for run in range(runs):
        rng = np.random.default_rng([SEED, run])
        made = simulate(rng, some_nature(rng))
        result = analyze("x", made.periods, site="stop", parts=ONLY_OCCUPANCY)
        compare(held["trend"], result.trend.occupancy, made.change)
        for year in result.years:
            compare(held["years"], year.occupancy, made.there[year.season_year])
            compare(held["by route"], year.occupancy_by_route, made.anywhere[year.season_year])
            compare(held["detection"], year.detection, made.heard[year.season_year])
    return {name: float(np.mean(inside)) for name, inside in held.items()}, len(held["trend"])


def compare(held, estimate, truth):
    if estimate.value is not None and estimate.low is not None and estimate.high is not None:
        held.append(estimate.low <= truth <= estimate.high)


def test_short_run():
    shares, trends = coverage(5)
    assert trends == 5
    assert all(share >= 0.6 for share in shares.values()), shares


@pytest.mark.slow
def test_long_run():
    shares, trends = coverage(500)
    assert trends >= 490
    assert all(0.93 <= share <= 0.97 for share in shares.values()), shares
