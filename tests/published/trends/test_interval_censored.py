"""Interval-censored times, and shares within clusters, against sources outside the project."""

import numpy as np
import pytest
import scipy.stats
import statsmodels.api as sm
from statsmodels.stats.proportion import proportion_confint

from surveys.trends.models.interval_censored import turnbull
from surveys.trends.numerics.intervals import wilson, wilson_clustered

INF = np.inf
# Months until the breast looked worse, 46 patients with radiotherapy alone; a time lies after the
# first number and by the second. Finkelstein & Wolfe 1985, Biometrics 41:933-945 (from memory).
RADIOTHERAPY = [
    (45, INF), (6, 10), (0, 7), (46, INF), (46, INF), (7, 16), (17, INF), (7, 14), (37, 44),
    (0, 8), (4, 11), (15, INF), (11, 15), (22, INF), (46, INF), (46, INF), (25, 37), (46, INF),
    (26, 40), (46, INF), (27, 34), (36, 44), (46, INF), (36, 48), (37, INF), (40, INF), (17, 25),
    (46, INF), (11, 18), (38, INF), (5, 12), (37, INF), (0, 5), (18, INF), (24, INF), (36, INF),
    (5, 11), (19, 35), (17, 25), (24, INF), (32, INF), (33, INF), (19, 26), (37, INF), (34, INF),
    (36, INF),
]  # fmt: skip
# The estimate for them as R packages print it (from memory): interval and chance.
PRINTED = {
    (4, 5): 0.0463, (6, 7): 0.0334, (7, 8): 0.0887, (11, 12): 0.0708, (24, 25): 0.0926,
    (33, 34): 0.0818, (38, 40): 0.1209, (46, 48): 0.4656,
}  # fmt: skip


def test_turnbull_on_the_radiotherapy_data():
    after, by = np.array(RADIOTHERAPY).T
    # Whole months: after 4 and by 5 is from 4.5 on, so that ends do not touch.
    found = turnbull(after + 0.5, by)
    intervals = zip(found.first - 0.5, found.last, strict=True)
    told = dict(zip(intervals, found.weight, strict=True))
    assert told == pytest.approx(PRINTED, abs=6e-5)
    assert found.quantile(0.5) == (38.5, 40.0)


def test_turnbull_with_nothing_but_an_open_end_is_the_product_limit():
    """Against scipy's Kaplan-Meier estimate: exact and right-censored times."""
    rng = np.random.default_rng(4)
    times, censored = rng.integers(1, 30, 60).astype(float), rng.random(60) < 0.3
    found = turnbull(np.where(censored, times + 0.5, times), np.where(censored, INF, times))
    data = scipy.stats.CensoredData(uncensored=times[~censored], right=times[censored])
    reference = scipy.stats.ecdf(data).cdf
    ours = [found.weight[found.last <= at].sum() for at in reference.quantiles]
    np.testing.assert_allclose(ours, reference.probabilities, atol=1e-5)


def test_turnbull_has_the_highest_likelihood_that_another_search_finds():
    rng = np.random.default_rng(8)
    first = rng.integers(0, 20, 40).astype(float)
    last = first + rng.integers(0, 15, 40)
    found = turnbull(first, last)
    holds = (first[:, None] <= found.first) & (found.last <= last[:, None])
    best = np.log(holds @ found.weight).sum()

    def minus_log_likelihood(x):
        weight = np.exp(x - x.max())
        return -np.log(holds @ (weight / weight.sum())).sum()

    other = scipy.optimize.minimize(minus_log_likelihood, np.zeros(len(found.first)), tol=1e-12)
    assert best == pytest.approx(-other.fun, abs=1e-5)


def test_error_of_a_clustered_share_is_that_of_statsmodels():
    """Ordinary least squares on a constant with errors clustered by route, statsmodels."""
    rng = np.random.default_rng(5)
    route = np.repeat(np.arange(12), rng.integers(2, 9, 12))
    level = rng.normal(0, 1.5, 12)[route]
    heard = (rng.random(len(route)) < 1 / (1 + np.exp(-level))).astype(float)
    fit = sm.OLS(heard, np.ones_like(heard)).fit(cov_type="cluster", cov_kwds={"groups": route})
    share, error = fit.params[0], fit.bse[0]
    found = wilson_clustered(heard, np.ones_like(heard), route)
    trials = share * (1 - share) / error**2
    t = scipy.stats.t.ppf(0.975, 11)
    # The ends of Wilson's interval solve (limit - share)^2 = z^2 limit (1 - limit) / n; with
    # n (z / t)^2 in place of n, the quantile is t and the number of trials that of the design.
    for limit in (found.low, found.high):
        assert (limit - share) ** 2 == pytest.approx(t**2 * limit * (1 - limit) / trials, rel=1e-6)
    assert (
        found.high - found.low
        > wilson(int(heard.sum()), len(heard)).high - wilson(int(heard.sum()), len(heard)).low
    )


def test_interval_of_a_clustered_share_covers_as_it_says():
    """400 draws of 15 routes of 8 stops, alike within a route: 95% within 3 errors of drawing."""
    rng = np.random.default_rng(6)
    route = np.repeat(np.arange(15), 8)
    inside = 0
    for _ in range(400):
        chance = rng.beta(0.9, 2.1, 15)[route]
        found = wilson_clustered(rng.random(120) < chance, np.ones(120), route)
        inside += found.low <= 0.3 <= found.high
    assert 0.95 - 3 * np.sqrt(0.95 * 0.05 / 400) <= inside / 400


@pytest.mark.parametrize("counts", [(9, 18), (0, 7), (12, 12), (1, 40)])
def test_the_plain_interval_of_a_share_is_that_of_statsmodels(counts):
    """Of one route alone: Wilson's interval, statsmodels `proportion_confint`."""
    seen, of = counts
    found = wilson_clustered([seen], [of], ["one"])
    expected = proportion_confint(seen, of, method="wilson")
    assert (found.low, found.high) == pytest.approx(expected, abs=1e-12)
