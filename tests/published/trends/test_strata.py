"""A program's share and its variance against the textbook and a second library, and the trend of a
whole program where effort moves from one region to another."""

import numpy as np
import pytest
import statsmodels.formula.api as smf
from pandas import DataFrame
from scipy.special import expit
from scipy.stats import binom

from surveys.trends.models.strata import Stratum, weighted_levels
from surveys.trends.models.year_levels import fit_year_levels
from tests.published.trends.calibration.cases import WHOLE_CASES
from tests.published.trends.calibration.counting import count_case

WEIGHTS = {"north": 0.7, "south": 0.2, "west": 0.1}
PROGRAMS = 60
BY_NAME = {case.name: case for case in WHOLE_CASES}


@pytest.fixture(scope="module")
def one_season():
    """Stops of one season that cannot be missed: heard at both visits or at none."""
    rng, rows = np.random.default_rng(5), []
    for number, (region, share) in enumerate({"north": 0.3, "south": 0.7, "west": 0.5}.items()):
        for route in range(6 + number):
            at = expit(np.log(share / (1 - share)) + rng.normal(0, 0.8))
            size = int(rng.integers(4, 12))
            heard = rng.random(size) < at
            rows += [(region, f"{region} {route}", float(one)) for one in heard]
    return DataFrame(rows, columns=["region", "route", "heard"])


@pytest.fixture(scope="module")
def weighted(one_season):
    strata = []
    for region, weight in WEIGHTS.items():
        rows = one_season[one_season.region == region]
        heard = rows.heard.to_numpy()
        year = np.full(len(rows), 2024)
        levels = fit_year_levels(np.column_stack([heard, heard]), year, rows.route.to_numpy())
        strata.append(Stratum(weight=weight, levels=levels))
    whole = weighted_levels(strata)
    share = float(expit(whole.levels.levels[0]))
    variance = float(whole.levels.covariance[0, 0]) * (share * (1 - share)) ** 2
    return whole, share, variance


def test_mean_and_variance_are_those_of_stratified_sampling(one_season, weighted):
    """Cochran 1977, Sampling Techniques, 3rd ed.: the mean over strata (5.1) and its variance
    (5.3), within strata a proportion in clusters of unequal size (section 3.12), without the finite
    population; numbers of the equations from memory."""
    mean = variance = 0.0
    parts, degrees = [], []
    for region, weight in WEIGHTS.items():
        routes = one_season[one_season.region == region].groupby("route").heard
        heard, size = routes.sum().to_numpy(), routes.count().to_numpy()
        n, p = len(size), heard.sum() / size.sum()
        within = np.sum((heard - p * size) ** 2) / (n - 1) / (n * size.mean() ** 2)
        mean += weight * p
        variance += weight**2 * within
        parts.append(weight**2 * within)
        degrees.append(n - 1)
    whole, share, own_variance = weighted
    assert share == pytest.approx(mean, rel=1e-5)
    assert own_variance == pytest.approx(variance, rel=1e-4)
    # Degrees of freedom by Satterthwaite, Cochran 1977 (5.16).
    effective = sum(parts) ** 2 / sum(v**2 / d for v, d in zip(parts, degrees, strict=True))
    assert whole.degrees(np.ones(1)) == pytest.approx(effective, rel=1e-4)


def test_a_second_library_gives_the_same_error(one_season, weighted):
    """statsmodels: means of the regions with errors clustered by route, without its correction for
    few clusters, which is of all of them together."""
    fit = smf.ols("heard ~ 0 + region", one_season).fit(
        cov_type="cluster",
        cov_kwds={
            "groups": one_season.route.astype("category").cat.codes.to_numpy(),
            "use_correction": False,
        },
    )
    routes = one_season.groupby("region").route.nunique()
    weights = np.array(
        [WEIGHTS[name.removeprefix("region[").rstrip("]")] for name in fit.params.index]
    )
    spread = np.sqrt((routes / (routes - 1)).to_numpy()) * weights
    _, share, variance = weighted
    assert share == pytest.approx(float(weights @ fit.params), rel=1e-5)
    assert variance == pytest.approx(float(spread @ fit.cov_params().to_numpy() @ spread), rel=1e-4)


def test_effort_that_moves_between_regions_does_not_move_the_trend_of_the_program():
    """The same programs told without weights miss the truth in most cases. Chance fails this in
    fewer than one of 10,000 draws of seeds (binomial law); the seeds are fixed."""
    weighted = count_case(BY_NAME["effort shifts, regions go apart"], PROGRAMS)
    assert weighted.not_told == 0
    assert weighted.held >= binom.ppf(1e-4, PROGRAMS, 0.95)
    without = count_case(BY_NAME["the same, not weighted"], PROGRAMS)
    assert without.held < binom.ppf(1e-4, PROGRAMS, 0.95)
