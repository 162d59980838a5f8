"""What every estimate is called, how its interval was made, by which method, at which level.

Screens, reports and publications show these words beside the numbers.
"""

from functools import cache

import numpy as np
import pytest

from surveys.trends.models.abundance import (
    fit_abundance,
    mean_abundance,
    occupancy_from_abundance,
    single_detection,
)
from surveys.trends.models.call_index import fit_call_index, index_odds_ratio, summarize_groups
from surveys.trends.models.dynamic import (
    dynamic_chance,
    equilibrium_occupancy,
    fit_dynamic,
    seasonal_occupancy,
)
from surveys.trends.models.goodness_of_fit import goodness_of_fit
from surveys.trends.models.kappa import cohen_kappa
from surveys.trends.models.occupancy import fit_occupancy
from surveys.trends.models.occupancy_estimates import (
    coefficient_estimates,
    detection_share,
    occupancy_share,
    share_at,
)
from surveys.trends.models.phenology_shift import shift_of_season
from surveys.trends.models.trend import fit_trend, summarize_trend, yearly_occupancy
from surveys.trends.models.year_trend import (
    fit_year_trend,
    summarize_year_trend,
    year_scatter,
    year_trend_line,
)
from surveys.trends.numerics.intervals import clopper_pearson, wilson

STOPS, YEARS, VISITS = 60, 5, 3


@cache
def survey(silent=False):
    """Histories (rows, visits), season years, routes, fish, air; one row a stop and year."""
    rng = np.random.default_rng(1)
    stop, year = (axis.ravel() for axis in np.indices((STOPS, YEARS)))
    fish, air = (stop % 2).astype(float), rng.normal(size=(len(stop), VISITS))
    occupied = rng.random(len(stop)) < 0.65 - 0.2 * fish
    index = np.where(rng.random(air.shape) < 0.6, rng.integers(1, 4, air.shape), 0)
    index = index * occupied[:, None] * (not silent)
    return index, 2020 + year, stop // 5, fish, air


def occupancy(silent):
    index, _, routes, fish, air = survey(silent)
    return fit_occupancy(
        index > 0, occupancy={"fish": fish}, detection={"air": air}, clusters=routes
    )


def of_occupancy(level, silent):
    fit = occupancy(silent)
    yield from coefficient_estimates(fit, level=level)
    yield from (occupancy_share(fit, level=level), detection_share(fit, level=level))
    for interval in ("profile", "wald", "clustered"):
        row = np.array([1.0, 0.0])
        yield share_at(fit, "occupancy", row, name="no fish", level=level, interval=interval)
    if not silent:
        yield occupancy_share(fit, level=level, interval="clustered")


def of_trend(level, silent):
    index, years, routes, fish, _ = survey(silent)
    for form in ("linear", "factor"):
        trend = fit_trend(index > 0, years, routes, form=form, occupancy={"fish": fish})
        if form == "linear":
            told = summarize_trend(trend, level=level)
            yield from (told.log_odds, told.odds, told.occupancy, told.points)
        yield from (share for _, share in yearly_occupancy(trend, level=level)[:1])


def of_year_trend(level, silent):
    index, years, routes, _, _ = survey(silent)
    trend = fit_year_trend(index > 0, years, routes, confidence=level)
    told = summarize_year_trend(trend)
    yield from (told.log_odds, told.odds, told.occupancy, told.points, year_scatter(trend))
    yield from (share for _, share in year_trend_line(trend)[:1])


def of_dynamic(level, silent):
    index, _, routes, _, _ = survey(silent)
    seasons = (index > 0).reshape(STOPS, YEARS, VISITS)
    for clusters in (None, routes[::YEARS]):
        fit = fit_dynamic(seasons, clusters=clusters)
        for part in fit.parts:
            yield dynamic_chance(fit, part, level=level)
        yield equilibrium_occupancy(fit, level=level)
        yield seasonal_occupancy(fit, level=level)[1]


def of_abundance(level, silent):
    fit = fit_abundance(survey(silent)[0] > 0, bound=30)
    for ask in (mean_abundance, single_detection, occupancy_from_abundance):
        yield ask(fit, level=level)


def of_call_index(level, silent):
    index, years, routes, _, _ = survey(silent)
    two = years < 2022
    fit = fit_call_index(index[two], groups=years[two], clusters=routes[two])
    yield index_odds_ratio(fit, "state: 2021", level=level)
    for _, told in summarize_groups(fit, level=level)[:1]:
        yield from (told.expected_index, told.full_chorus)


def of_shift(level, silent):
    season, route, day = (axis.ravel() for axis in np.indices((6, 12, 20)))
    peak = np.exp(-(((day - 10 - season / 4) / 4) ** 2))
    heard = (np.random.default_rng(2).random(len(day)) < 0.7 * peak) & (not silent)
    yield shift_of_season(100 + 3 * day, heard, 2015 + season, route, level=level)


def of_shares(level, silent):
    for share in (wilson, clopper_pearson):
        yield share(0 if silent else 4, 0 if silent else 9, level=level)


def of_kappa(level, silent):
    table = np.zeros((2, 2)) if silent else [[20, 5], [10, 15]]
    for weights in ("none", "linear", "squared"):
        yield cohen_kappa(table, weights=weights, level=level)


PROFILE, DELTA = "profile", "delta-logit"
BY_SITE, SHARES = f"{DELTA}+clustered-by-site", "delta+clustered-by-site"
T_BY_SITE, CLUSTERED = "clustered-logit", f"{DELTA}+clustered"
OF_YEARS = "routes-and-years"
FLEISS = "wald-kappa"
CHANGES = (
    "trend, log odds of occupancy per year",
    "trend, % change in odds per year",
    "trend, % change in share of sites per year",
    "trend, percentage points of sites per year",
)
PARTS = ("initial occupancy", "colonization", "extinction", "detection")
DERIVED = ("occupancy at equilibrium", "occupancy, season 2")
# By what asks: the method, then name and interval of every estimate.
LABELS = {
    of_occupancy: (
        "single-season-occupancy",
        [
            ("occupancy: intercept", PROFILE),
            ("occupancy: fish", PROFILE),
            ("detection: intercept", PROFILE),
            ("detection: air", PROFILE),
            ("occupancy", DELTA),
            ("detection", DELTA),
            ("no fish", PROFILE),
            ("no fish", "wald-logit"),
            ("no fish", T_BY_SITE),
            ("occupancy", BY_SITE),
        ],
    ),
    of_trend: (
        "stacked-occupancy",
        [
            *zip(CHANGES, (T_BY_SITE, T_BY_SITE, SHARES, SHARES), strict=True),
            ("occupancy 2020", BY_SITE),
            ("occupancy 2020", BY_SITE),
        ],
    ),
    of_year_trend: (
        "yearly-line",
        [
            *((name, OF_YEARS) for name in CHANGES),
            (
                "scatter of years around the trend, logit scale",
                "sum-of-squares",
            ),
            ("occupancy 2020", OF_YEARS),
        ],
    ),
    of_dynamic: (
        "dynamic-occupancy",
        [
            *((name, PROFILE) for name in PARTS),
            *((name, DELTA) for name in DERIVED),
            *((name, "clustered") for name in PARTS),
            *((name, CLUSTERED) for name in DERIVED),
        ],
    ),
    of_abundance: (
        "abundance-induced-detection",
        [
            ("animals a site", PROFILE),
            ("chance of hearing one animal", PROFILE),
            ("occupancy from abundance", DELTA),
        ],
    ),
    of_call_index: (
        "ordered-call-index",
        [
            ("odds ratio of a higher index, state: 2021", "clustered"),
            ("expected call index, 2020", CLUSTERED),
            ("share of sites with full chorus, 2020", CLUSTERED),
        ],
    ),
    of_shift: (
        "calling-curve",
        [("shift of the calling season, days per decade", "delta+clustered-by-route")],
    ),
    of_shares: (
        "share-of-trials",
        [("share", "wilson"), ("share", "clopper-pearson")],
    ),
    of_kappa: (
        "kappa",
        [(f"kappa{weights}", FLEISS) for weights in ("", ", linear weights", ", squared weights")],
    ),
}
asked = pytest.mark.parametrize("ask", LABELS, ids=lambda ask: ask.__name__)


@asked
def test_labels(ask):
    method, labels = LABELS[ask]
    told = list(ask(0.8, False))
    assert [(estimate.name, estimate.interval) for estimate in told] == labels
    for estimate in told:
        assert (estimate.method, estimate.level, estimate.flags) == (method, 0.8, ())


@asked
def test_limits_follow_the_level(ask):
    for narrow, wide in zip(ask(0.8, False), ask(0.95, False), strict=True):
        assert narrow.value == wide.value
        assert wide.low <= narrow.low <= narrow.value <= narrow.high < wide.high, narrow.name
        # Scatter of years ends at 0, which it reaches here.
        assert wide.low < narrow.low or narrow.low == 0


@asked
def test_labels_where_there_is_no_value(ask):
    method, labels = LABELS[ask]
    names = dict.fromkeys(name for name, _ in labels)
    told = list(ask(0.8, True))
    assert dict.fromkeys(estimate.name for estimate in told) == names
    for estimate in told:
        assert (estimate.interval, estimate.method) == ("none", method)
        assert (estimate.value, estimate.low, estimate.high, estimate.se) == (None,) * 4
        assert estimate.flags
        # A trend over years that has no line has no level either: it was never fitted.
        assert ask is of_year_trend or estimate.level == 0.8


@pytest.mark.parametrize("silent", [False, True])
def test_labels_of_the_check_of_the_fit(silent):
    check = goodness_of_fit(occupancy(silent), seed=1, replicates=20)
    interval = "none" if silent else "wilson+surveys:20"
    for estimate, name, made in (
        (check.p, "goodness of fit, p", interval),
        (check.c_hat, "overdispersion, c-hat", "none"),
    ):
        assert (estimate.name, estimate.interval) == (name, made)
        assert estimate.method == "pearson-bootstrap"
        assert (estimate.value is None) is silent
        assert estimate.flags == (("never-heard", "too-few-data") if silent else ())
