"""How often the stored 95 % intervals hold the truth, the choice among the models included.

Each program is a species drawn at random in 140 stops on 14 routes over 12 years
(tests/support/simulated_programs.py). Measured over 500: trend 94.4 %, yearly occupancy of the
stops listened to 96.5 %, its interval over routes for all stops there could have been 96.2 %,
chance of detection 93.6 %. The long run must lie within 93 to 97 %; one binomial standard error of
500 trends is 1 %.

The short run follows the trend of smaller programs to the sentence that readers get. It goes on
only until the answer is clear, by the sequential probability ratio test (A. Wald, 1945, Annals of
Mathematical Statistics 16, 117-186): a coverage of 94 % fails less than once in 10,000 (and the
seeds are fixed), one of 80 % passes less than once in 500, and one of 74 %, which is what is left
without clusters, less than once in 100,000. `test_chances_of_the_short_run` works these out.
"""

import json
import math
import re
from collections import defaultdict
from dataclasses import replace

import numpy as np
import pytest

from surveys.charts.words import trend_sentence
from surveys.fitting.results import (
    from_json,
    to_json,
)
from surveys.trends.analysis import (
    Parts,
    analyze,
)
from surveys.trends.species_result import SpeciesResult
from tests.support.simulated_programs import (
    repeat_stops,
    simulate,
    some_nature,
)

ONLY_OCCUPANCY = Parts(turnover=False, index=False, phenology=False)
ONLY_TREND = Parts(fit_check=False, turnover=False, index=False, phenology=False, sensitivity=False)
SEED = 103
# Of programs as small as those of the short run; coverage that is right, and that is to be found.
MOST_RUNS, COVERAGE, TOO_LOW = 200, 0.94, 0.77
CHANCE_OF_A_FALSE_ALARM = CHANCE_TO_MISS_IT = 1e-4


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


def said_interval(sentence):
    """The limits of the change a year, in percent, as a reader takes them from the sentence; None
    where it gives none."""
    text = sentence.replace("\N{NO-BREAK SPACE}", " ").replace("\N{MINUS SIGN}", "-")
    limits = re.search(r"95% interval: ([+-]?[0-9.]+) to ([+-]?[0-9.]+)%", text)
    if limits is None or "Not corrected" in text:
        return None
    near, far = float(limits[1]), float(limits[2])
    return (-far, -near) if " fell by " in text else (near, far)


def verdict(held, missed):
    """Whether the coverage is right by Wald's test; None as long as it may be either way."""
    ratio = held * math.log(TOO_LOW / COVERAGE) + missed * math.log((1 - TOO_LOW) / (1 - COVERAGE))
    if ratio >= math.log((1 - CHANCE_TO_MISS_IT) / CHANCE_OF_A_FALSE_ALARM):
        return False
    if ratio <= math.log(CHANCE_TO_MISS_IT / (1 - CHANCE_OF_A_FALSE_ALARM)):
        return True
    return None


@pytest.mark.parametrize(
    ("true_coverage", "fails", "passes"),
    [(0.95, 1e-5, 1), (0.94, 1e-4, 1), (0.80, 1, 1 / 500), (0.74, 1, 1e-5)],
)
def test_chances_of_the_short_run(true_coverage, fails, passes):
    chance, failed, passed = {0: 1.0}, 0.0, 0.0
    for run in range(1, MOST_RUNS + 1):
        following = defaultdict(float)
        for missed, share in chance.items():
            following[missed] += share * true_coverage
            following[missed + 1] += share * (1 - true_coverage)
        decided = {missed: verdict(run - missed, missed) for missed in following}
        failed += sum(share for missed, share in following.items() if decided[missed] is False)
        passed += sum(share for missed, share in following.items() if decided[missed])
        chance = {missed: following[missed] for missed in following if decided[missed] is None}
    assert failed <= fails
    assert passed <= passes
    if true_coverage >= COVERAGE:
        assert passed > 0.99


def test_intervals_that_readers_are_told():
    """The whole way of a trend: listening periods, `analyze`, the stored form, the sentence.

    Every stop is written down three times. Intervals that count routes are the same as without;
    those that take stops or rows as independent are narrower by the root of three, and hold the
    truth in 74 % of programs instead of 95 %.
    """
    held = []
    for run in range(MOST_RUNS):
        limits, change = told_and_true(np.random.default_rng([SEED, run]))
        if limits is not None:
            # The sentence rounds to tenths.
            held.append(limits[0] - 0.05 <= change <= limits[1] + 0.05)
        right = verdict(sum(held), len(held) - sum(held))
        if right is not None:
            break
    assert right, f"{sum(held)} of {len(held)} intervals hold the truth"
    assert len(held) >= 0.97 * (run + 1)


def told_and_true(rng):
    """The interval that readers are told of a program drawn at random, and its true change."""
    made = simulate(rng, some_nature(rng), routes=14, years=5)
    periods = repeat_stops(only_covariates(made.periods), 3)
    result = analyze("x", periods, site="stop", parts=ONLY_TREND)
    stored = from_json(SpeciesResult, json.loads(json.dumps(to_json(result))))
    return said_interval(trend_sentence("Wood frog", stored, "stop")), made.change


def only_covariates(periods, names=("night", "night squared")):
    """Fewer models to try: the run is to be short."""
    kept = {name: periods.columns.covariates[name] for name in names}
    return replace(periods, columns=replace(periods.columns, covariates=kept))


@pytest.mark.slow
def test_long_run():
    shares, trends = coverage(500)
    assert trends >= 490
    assert all(0.93 <= share <= 0.97 for share in shares.values()), shares
