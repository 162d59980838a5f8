"""Levels of the years: penalized likelihood by brute force, route means, clustering, refusals."""

import itertools
from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import approx_fprime, minimize
from scipy.special import expit

from surveys.trends import estimates
from surveys.trends.models import centered_classes, occupancy_blocks, year_levels
from surveys.trends.models.level_models import (
    by_abundance,
    equal_detection,
    in_two_classes,
    with_false_rate,
)
from surveys.trends.models.trend import fit_trend
from surveys.trends.models.year_levels import (
    PRIOR_SD_DETECTION,
    PRIOR_SD_OCCUPANCY,
    fit_year_levels,
)
from surveys.trends.numerics import optimize, visit_layout
from surveys.trends.numerics.visit_columns import visit_columns


def simulated(seed=1, *, routes=12, stops=6, years=6, visits=3, psi=0.5, p=0.55):
    rng = np.random.default_rng(seed)
    route, _stop, year = (
        axis.ravel() for axis in np.indices((routes, stops, years), dtype=np.int64)
    )
    line = np.log(psi / (1 - psi)) + rng.normal(0, 0.6, routes)[route]
    there = rng.random(len(line)) < expit(line)
    heard = (there[:, None] & (rng.random((len(line), visits)) < p)).astype(float)
    heard[rng.random(heard.shape) < 0.05] = np.nan
    return heard, year + 2015, route


def brute_force(heard, year, route, *, by_year):
    """Sum over the two latent states of every row, maximized by scipy with numeric gradients."""
    years = np.unique(year)
    mean_year = np.array([year[route == r].mean() for r in route])
    spread = mean_year.std()
    column = (mean_year - mean_year.mean()) / spread if spread > 1e-9 else None
    at = np.searchsorted(years, year)
    count = len(years)

    def rows(theta):
        psi_logit = theta[:count][at]
        rest = theta[count:]
        if column is not None:
            psi_logit = psi_logit + rest[0] * column
            rest = rest[1:]
        p_logit = rest[at] if by_year else np.full(len(at), rest[0])
        psi, p = expit(psi_logit), expit(p_logit)[:, None]
        chance = np.where(np.isnan(heard), 1.0, np.where(heard == 1, p, 1 - p)).prod(axis=1)
        return np.log(psi * chance + (1 - psi) * (np.nansum(heard, axis=1) == 0))

    def penalized(theta):
        level = theta[:count]
        pull = ((level - level.mean()) ** 2).sum() / PRIOR_SD_OCCUPANCY**2
        if by_year:
            detection = theta[-count:]
            pull += ((detection - detection.mean()) ** 2).sum() / PRIOR_SD_DETECTION**2
        return -rows(theta).sum() + pull / 2

    size = count + (column is not None) + (count if by_year else 1)
    end = minimize(penalized, np.zeros(size), method="BFGS", options={"gtol": 1e-6})
    return end.x, rows, penalized


@pytest.mark.parametrize("by_year", [False, True], ids=["constant detection", "detection by year"])
@pytest.mark.parametrize("turnover", [False, True], ids=["same routes", "routes come and go"])
def test_levels_are_those_of_the_sum_over_latent_states(by_year, turnover):
    heard, year, route = simulated()
    if turnover:
        kept = ~((route < 4) & (year > 2017)) & ~((route > 8) & (year < 2018))
        heard, year, route = heard[kept], year[kept], route[kept]
    levels = fit_year_levels(heard, year, route, detection_by_year=by_year)
    theta, _, _ = brute_force(heard, year, route, by_year=by_year)
    assert levels.within_routes is turnover
    assert levels.levels == pytest.approx(theta[:6], abs=2e-4)


def test_covariance_is_the_sandwich_of_the_routes():
    heard, year, route = simulated()
    levels = fit_year_levels(heard, year, route)
    theta, rows, penalized = brute_force(heard, year, route, by_year=False)

    def gradient(at):
        return approx_fprime(at, penalized, 1e-6)

    information = np.array(
        [
            (gradient(theta + step) - gradient(theta - step)) / 2e-3
            for step in np.eye(len(theta)) * 1e-3
        ]
    )
    scores = approx_fprime(theta, rows, 1e-6)
    by_route = np.array([scores[route == r].sum(axis=0) for r in np.unique(route)])
    bread = np.linalg.inv(information)
    expected = bread @ by_route.T @ by_route @ bread * 12 / 11
    assert levels.covariance == pytest.approx(expected[:6, :6], rel=0.02, abs=1e-4)
    assert levels.information == pytest.approx(np.diag(information)[:6], rel=0.01)


def test_rich_data_hardly_feel_the_prior():
    heard, year, route = simulated(routes=40, stops=10)
    levels = fit_year_levels(heard, year, route)
    free = fit_trend(heard, year, route, form="factor").fit.coefficients[:6]
    assert levels.levels == pytest.approx(free, abs=0.02)


@pytest.mark.parametrize("by_year", [False, True], ids=["constant detection", "detection by year"])
def test_covariates_have_the_same_slopes_as_without_the_prior(by_year):
    """Levels are those of a site and a visit at the mean of the covariates."""
    rng = np.random.default_rng(3)
    route, stop, year = (axis.ravel() for axis in np.indices((40, 10, 6), dtype=np.int64))
    fish, depth = (stop % 3 == 0).astype(float), rng.normal(20, 4, 400)[route * 10 + stop]
    air = rng.normal(12, 3, (len(route), 3))
    there = rng.random(len(route)) < expit(0.3 - 1.2 * fish + 0.15 * (depth - 20))
    heard = there[:, None] & (rng.random(air.shape) < expit(0.2 + 0.3 * (air - 12)))
    heard = np.where(rng.random(air.shape) < 0.05, np.nan, heard)
    listened = ~np.isnan(heard)

    def standard(values, where=...):
        return (values - values[where].mean()) / values[where].std()

    levels = fit_year_levels(
        heard, year + 2015, route,
        occupancy={"fish": fish, "depth": depth}, detection={"air": air},
        detection_by_year=by_year,
    )  # fmt: skip
    sites = {"fish": standard(fish), "depth": standard(depth)}
    free = fit_trend(
        heard, year + 2015, route, form="factor",
        occupancy=sites, detection={"air": standard(air, listened)}, detection_by_year=by_year,
    ).fit  # fmt: skip
    slopes = free.coefficients[6:8]
    assert slopes[0] < -0.3 < 0.3 < slopes[1]
    assert levels.levels == pytest.approx(free.coefficients[:6], abs=0.03)
    offsets = np.column_stack(list(sites.values())) @ slopes
    assert levels.offsets == pytest.approx(offsets, abs=0.03)
    errors = np.diag(free.clustered_covariance)[:6] ** 0.5
    assert np.diag(levels.covariance) ** 0.5 == pytest.approx(errors, rel=0.05)


def test_a_year_without_a_detection_keeps_a_level():
    heard, year, route = simulated()
    heard[year == 2018] = np.where(np.isnan(heard[year == 2018]), np.nan, 0.0)
    levels = fit_year_levels(heard, year, route)
    assert np.isfinite(levels.levels).all()
    assert np.isfinite(levels.covariance).all()
    assert levels.levels[3] < np.delete(levels.levels, 3).min() - 1


def test_every_stop_twice_changes_no_standard_error():
    """Rows of a route are not independent: copies of them bring no new knowledge."""
    heard, year, route = simulated()
    once = fit_year_levels(heard, year, route)
    twice = fit_year_levels(np.tile(heard, (2, 1)), np.tile(year, 2), np.tile(route, 2))
    # Equal but for the prior, which counts half as much beside twice the rows.
    assert np.diag(twice.covariance) == pytest.approx(np.diag(once.covariance), rel=0.05)


def test_routes_that_come_and_go_do_not_pass_for_a_change():
    """Good routes were dropped and poor ones added; within routes nothing changes."""
    rng = np.random.default_rng(9)
    rows = [
        (route, year, (rng.random(3) < 0.6) & (rng.random() < (0.8 if route < 20 else 0.3)))
        for route, stop, year in itertools.product(range(40), range(8), range(10))
        if (year < 2 + route % 7 if route < 20 else year >= 2 + route % 7)
    ]
    route, year, heard = (np.array(column) for column in zip(*rows, strict=True))
    within = fit_year_levels(heard.astype(float), year + 2010, route)
    pooled = fit_year_levels(heard.astype(float), year + 2010, route, within_routes=False)

    def slope(levels):
        return np.polyfit(levels.years, levels.levels, 1)[0]

    assert (within.within_routes, pooled.within_routes) == (True, False)
    assert slope(pooled) < -0.2
    assert abs(slope(within)) < 0.08


def test_kinds_of_sites_without_the_species_leave_the_search_and_stay_in_the_share():
    heard, year, route = simulated()
    silent = np.zeros((60, 3))
    more_years, more_routes = np.resize(np.unique(year), 60), np.resize(np.unique(route), 60)
    empty = np.r_[np.zeros(len(heard), bool), np.ones(60, bool)]
    alone = fit_year_levels(heard, year, route)
    beside = fit_year_levels(
        np.vstack([heard, silent]), np.r_[year, more_years], np.r_[route, more_routes], empty=empty
    )
    listened = (~np.isnan(heard).all(axis=1)).sum()
    assert beside.levels == pytest.approx(alone.levels)
    assert beside.part == pytest.approx(listened / (listened + 60))


@pytest.mark.parametrize(
    ("change", "flag"),
    [
        (lambda heard: heard * 0, estimates.NEVER_HEARD),
        (lambda heard: heard[:, :1], estimates.NO_REPEAT_VISITS),
        (lambda heard: heard * np.nan, estimates.NO_EFFORT),
    ],
    ids=["never heard", "one visit", "no one listened"],
)
def test_data_that_carry_nothing_give_a_flag(change, flag):
    heard, year, route = simulated()
    levels = fit_year_levels(change(heard), year, route)
    assert flag in levels.flags
    assert levels.covariance is None
    count = len(levels.years)
    for numbers in (levels.levels, levels.information):
        assert numbers.shape == (count,)
        assert np.isnan(numbers).all()
    assert not levels.offsets.any()


def test_a_kind_of_site_where_it_was_heard_once_is_not_empty():
    heard, year, route = simulated()
    row = int(np.flatnonzero(np.nansum(heard, axis=1) == 1)[0])
    empty = np.zeros(len(heard), bool)
    empty[row] = True
    with pytest.raises(ValueError, match=r"^empty: .* none where the species was heard$"):
        fit_year_levels(heard, year, route, empty=empty)


def test_a_search_cut_short_says_so(monkeypatch):
    heard, year, route = simulated()
    assert fit_year_levels(heard, year, route).flags == ()
    monkeypatch.setattr(optimize, "_MOST_ITERATIONS", 1)
    assert estimates.DID_NOT_CONVERGE in fit_year_levels(heard, year, route).flags


def test_one_route_has_no_covariance():
    heard, year, route = simulated()
    levels = fit_year_levels(heard, year, route * 0)
    assert levels.covariance is None
    assert estimates.FEW_CLUSTERS in levels.flags


@pytest.mark.parametrize(
    ("name", "value", "words"),
    [
        ("season_years", np.zeros(3, dtype=int), "season_years"),
        ("season_years", np.zeros(432), "season_years"),
        ("empty", np.ones(432, dtype=bool), "empty"),
    ],
)
def test_arrays_that_do_not_fit_are_refused(name, value, words):
    heard, year, route = simulated()
    given = {"season_years": year, "routes": route, name: value}
    with pytest.raises(ValueError, match=words):
        fit_year_levels(heard, **given)


def test_the_mean_share_counts_every_row():
    levels = fit_year_levels(*simulated())
    offsets = np.array([0.0, 0.0, 0.0, 2.0])
    some = replace(levels, offsets=offsets, part=0.5)
    assert some.mean_share(-1.0) == pytest.approx(0.5 * expit(offsets - 1.0).mean())


class TestLargePrograms:
    """They are worked out in small parts and from near starts, which must change nothing."""

    FORMS = (equal_detection, in_two_classes, by_abundance, with_false_rate(0.02))

    @pytest.fixture
    def survey(self):
        heard, year, route = simulated(seed=3, psi=0.6)
        rng = np.random.default_rng(4)
        air, fish = rng.normal(size=heard.shape), rng.integers(0, 2, len(heard)) * 1.0
        late = route * (route < 4) + 2015 - 1 <= year
        return {
            "detections": heard[late], "season_years": year[late], "routes": route[late],
            "occupancy": {"fish": fish[late]}, "detection": {"air": air[late]},
            "detection_by_year": True,
        }  # fmt: skip

    @staticmethod
    def same(one, other):
        np.testing.assert_allclose(one.levels, other.levels, atol=1e-6)
        np.testing.assert_allclose(one.covariance, other.covariance, rtol=1e-5, atol=1e-8)
        np.testing.assert_allclose(one.offsets, other.offsets, atol=1e-6)

    @pytest.mark.parametrize("form", FORMS)
    def test_parts_change_nothing(self, survey, form, monkeypatch):
        whole = fit_year_levels(**survey, model=form)
        monkeypatch.setattr(year_levels, "MOST_NUMBERS", 100)
        monkeypatch.setattr(occupancy_blocks, "MOST_NUMBERS", 40)
        self.same(fit_year_levels(**survey, model=form), whole)

    @pytest.mark.parametrize("form", FORMS)
    def test_a_near_start_changes_nothing(self, survey, form, monkeypatch):
        afresh = fit_year_levels(**survey, model=form)
        monkeypatch.setattr(year_levels, "MOST_NUMBERS", 100)
        other = simulated(seed=5, psi=0.4)
        near = fit_year_levels(*other, detection_by_year=True)
        assert np.abs(near.levels - afresh.levels).max() > 0.3
        self.same(fit_year_levels(**survey, model=form, like=near), afresh)

    @pytest.mark.parametrize(("form", "searches"), [(in_two_classes, 3), (by_abundance, 2)])
    def test_a_rough_start_changes_nothing(self, survey, form, searches, monkeypatch):
        """Two classes are searched for by the mean of their detection then, and from two starts."""
        afresh = fit_year_levels(**survey, model=form)
        monkeypatch.setattr(year_levels, "_MANY", 100)
        monkeypatch.setattr(year_levels, "_PART", 3)
        begun = []
        search = year_levels.maximize
        for module in (year_levels, centered_classes):
            monkeypatch.setattr(
                module,
                "maximize",
                lambda goal, start: begun.append(start) or search(goal, start),
            )
        self.same(fit_year_levels(**survey, model=form), afresh)
        assert len(begun) == searches
        assert np.abs(begun[-1] - begun[0]).max() > 0.3

    @pytest.mark.parametrize("form", FORMS[:2])
    def test_columns_of_visits_laid_out_once_change_nothing(self, survey, form):
        """Some visits did not happen, some rows are left out; on a scale of all of them."""
        heard, air = survey["detections"], survey["detection"]["air"]
        wind = np.where(np.isnan(heard), np.nan, 3 + 2 * air**2)
        both = {"air": air, "wind": wind}
        kept = np.arange(len(heard)) % 5 > 0
        columns = visit_columns(heard, both).of_rows(kept)
        rest = {name: survey[name][kept] for name in ("detections", "season_years", "routes")} | {
            "detection_by_year": True,
            "model": form,
        }
        plain = {name: values[kept] for name, values in both.items()}
        for names in (("air",), ("wind",), ("wind", "air")):
            self.same(
                fit_year_levels(**rest, detection=columns.pick(names)),
                fit_year_levels(**rest, detection={name: plain[name] for name in names}),
            )

    @pytest.mark.parametrize("by_year", [False, True])
    @pytest.mark.parametrize("form", FORMS)
    def test_blocks_that_models_share_change_nothing(self, survey, form, by_year, monkeypatch):
        monkeypatch.setattr(visit_layout, "MOST_NUMBERS", 100)
        heard, air = survey["detections"], survey["detection"]["air"]
        fewer = np.where(air > 1.8, np.nan, heard)
        heard = np.where(np.isnan(fewer).all(axis=1, keepdims=True), heard, fewer)
        rest = survey | {"detections": heard, "detection_by_year": by_year, "model": form}
        both = {"air": air, "wind": air**2}
        columns = visit_columns(heard, both, survey["season_years"])
        assert len(columns.layout.blocks) > 5
        for names in (("air",), ("wind",)):
            shared = fit_year_levels(**rest | {"detection": columns.pick(names)})
            self.same(shared, fit_year_levels(**rest | {"detection": {n: both[n] for n in names}}))
        # Other detections of the same visits do not fit into the blocks.
        rest["detections"] = np.where(np.arange(len(heard))[:, None] < 60, 0 * heard, heard)
        self.same(
            fit_year_levels(**rest | {"detection": columns}),
            fit_year_levels(**rest | {"detection": both}),
        )
