"""Goodness of fit."""

from dataclasses import replace
from itertools import product

import numpy as np
import pytest
from scipy.special import expit, logit

from surveys.trends import estimates
from surveys.trends.models import goodness_of_fit as goodness_of_fit_module
from surveys.trends.models import simulated_surveys
from surveys.trends.models.goodness_of_fit import (
    _fitted_again,
    goodness_of_fit,
    quasi,
    quasi_level,
)
from surveys.trends.models.many_surveys import expected_counts, simulated_statistics
from surveys.trends.models.occupancy import fit_occupancy
from surveys.trends.models.occupancy_estimates import occupancy_share
from surveys.trends.models.occupancy_likelihood import objective_of
from surveys.trends.models.simulated_surveys import survey_frame
from surveys.trends.models.trend import fit_trend
from surveys.trends.numerics import visit_layout
from surveys.trends.numerics.optimize import maximize
from surveys.trends.numerics.visit_columns import visit_columns
from tests.unit.trends.simulated import occupancy_histories, spread_detections

NAN = float("nan")


def survey(seed, *, p_spread=0.0, sites=200, visits=4):
    rng = np.random.default_rng(seed)
    line = rng.normal(0.0, p_spread, sites) if p_spread else np.zeros(sites)
    p = 1 / (1 + np.exp(-np.repeat(line[:, None], visits, axis=1)))
    history = occupancy_histories(rng, psi=np.full(sites, 0.6), p=p)
    history[rng.random(history.shape) < 0.05] = NAN
    return history


def pearson(fit):
    return goodness_of_fit(fit, seed=1, replicates=0).statistic


class TestPearson:
    def test_equals_the_sum_over_all_histories(self):
        history = spread_detections(40, 3, 20, 32)
        fit = fit_occupancy(history)
        psi, p = 1 / (1 + np.exp(-fit.coefficients))
        expected = 0.0
        for pattern in product([0, 1], repeat=3):
            chance = psi * np.prod([p if heard else 1 - p for heard in pattern])
            chance += (1 - psi) * (not any(pattern))
            observed = (history == pattern).all(axis=1).sum()
            expected += (observed - 40 * chance) ** 2 / (40 * chance)
        assert pearson(fit) == pytest.approx(expected)

    def test_patterns_of_missing_visits_are_cohorts(self):
        history = survey(1)
        noise = np.arange(len(history)) % 2.0
        by_row = fit_occupancy(history, detection={"noise": noise})
        by_visit = fit_occupancy(history, detection={"noise": np.repeat(noise[:, None], 4, axis=1)})
        assert pearson(by_visit) == pytest.approx(pearson(by_row), rel=1e-6)


class TestBootstrap:
    def test_the_true_model_fits(self):
        found = goodness_of_fit(fit_occupancy(survey(2)), seed=1, replicates=99)
        assert found.p.value > 0.05
        assert found.c_hat.value == pytest.approx(1.0, abs=0.5)
        assert estimates.POOR_FIT not in found.p.flags

    def test_sites_that_differ_in_detection_do_not_fit(self):
        found = goodness_of_fit(fit_occupancy(survey(3, p_spread=3.0)), seed=1, replicates=99)
        assert found.p.value < 0.05
        assert found.c_hat.value > 1.3
        assert estimates.POOR_FIT in found.p.flags

    def test_seed_decides(self):
        fit = fit_occupancy(survey(2))
        assert goodness_of_fit(fit, seed=3, replicates=20) == goodness_of_fit(
            fit, seed=3, replicates=20
        )

    def test_nothing_fitted(self):
        found = goodness_of_fit(fit_occupancy(np.zeros((10, 3))), seed=1)
        assert found.statistic is None
        assert found.p.value is None

    def test_surveys_that_hear_nothing_are_left_out(self):
        fit = fit_occupancy(spread_detections(3, 2, 1, 2))
        found = goodness_of_fit(fit, seed=1, replicates=40)
        assert found.p.interval != "wilson+surveys:40"

    def test_no_simulated_survey_can_be_fitted(self):
        fit = fit_occupancy(spread_detections(3, 2, 1, 2))
        found = goodness_of_fit(fit, seed=1, replicates=0)
        assert found.c_hat.value is None


class TestFrame:
    """The drawn surveys must be those of the fit, however they are laid out."""

    @pytest.mark.parametrize("by_visit", [False, True])
    def test_cells_give_the_likelihood_of_the_fit(self, by_visit):
        history = survey(9)
        air = np.random.default_rng(3).normal(size=history.shape)
        fit = fit_occupancy(history, detection={"air": air} if by_visit else None)
        frame = survey_frame(fit)
        goal = objective_of(frame.blocks(frame.coded(fit.history)))
        value, _ = goal.value_gradient(fit.maximum.theta)
        assert value == pytest.approx(fit.log_likelihood)
        assert len(frame.size) == (200 if by_visit else len(frame.cohorts))

    def test_refits_from_the_fit_are_refits(self):
        fit = fit_occupancy(survey(9), detection={"row": np.arange(200) % 3.0})
        frame = survey_frame(fit)
        codes = frame.simulated(*frame.chances(fit.maximum.theta), np.random.default_rng(1))
        heard = ((codes[:, None] >> np.arange(4)) & 1).astype(float)
        drawn = np.where(np.isnan(fit.history), np.nan, heard)
        afresh = fit_occupancy(drawn, detection={"row": np.arange(200) % 3.0})
        quick = maximize(
            objective_of(frame.blocks(codes)), fit.maximum.theta, curvature=fit.maximum.hessian
        )
        assert quick.value == pytest.approx(afresh.log_likelihood, abs=1e-6)

    def test_drawn_shares_are_those_of_the_model(self):
        fit = fit_occupancy(survey(9))
        frame, rng = survey_frame(fit), np.random.default_rng(2)
        chances = frame.chances(fit.maximum.theta)
        drawn = [(frame.simulated(*chances, rng) > 0).mean() for _ in range(200)]
        psi, p = 1 / (1 + np.exp(-fit.coefficients))
        visits = (~np.isnan(fit.history)).sum(axis=1)
        assert np.mean(drawn) == pytest.approx((psi * (1 - (1 - p) ** visits)).mean(), abs=0.01)


@pytest.fixture(scope="module")
def many():
    """A fit whose detection differs between visits, some of which did not happen."""
    rng = np.random.default_rng(6)
    air, level = rng.normal(size=(1500, 3)), rng.normal(size=1500)
    psi = 1 / (1 + np.exp(-0.5 * level))
    history = occupancy_histories(rng, psi=psi, p=1 / (1 + np.exp(-air)))
    history[rng.random(history.shape) < 0.1] = NAN
    return fit_occupancy(history, occupancy={"level": level}, detection={"air": air})


class TestManySurveys:
    def test_expected_counts_are_those_of_the_model_and_follow_their_slope(self, many):
        frame, theta = survey_frame(many), many.maximum.theta
        expected = expected_counts(frame, theta)
        sizes = expected.counts.reshape(len(frame.cohorts), 8).sum(axis=1)
        assert sizes == pytest.approx([len(cohort) for cohort in frame.cohorts])
        silent = (1 - frame.chances(theta)[1]).prod(axis=1)
        psi = frame.chances(theta)[0]
        never = expected.counts.reshape(-1, 8)[:, 0].sum()
        assert never == pytest.approx((1 - psi + psi * silent).sum())
        for number, step in enumerate(1e-5 * np.eye(len(theta))):
            ahead, behind = (expected_counts(frame, theta + s).counts for s in (step, -step))
            slope = (ahead - behind) / 2e-5
            assert expected.slope[:, number] == pytest.approx(slope, rel=1e-5, abs=1e-5)

    def test_statistics_are_those_of_surveys_fitted_again(self, many):
        """Parametric bootstrap, MacKenzie & Bailey 2004: 600 surveys in one step, 150 by a search
        each. 3 standard errors apart at most."""
        frame, rng = survey_frame(many), np.random.default_rng(4)
        quick = simulated_statistics(frame, many.maximum, surveys=600, rng=rng)
        slow = np.array(_fitted_again(frame, many.maximum, 150, rng))
        error = np.sqrt(quick.var() / len(quick) + slow.var() / len(slow))
        assert abs(quick.mean() - slow.mean()) < 3 * error
        assert 0.75 < quick.std() / slow.std() < 1.33
        # Without the step to estimates of its own a survey fits worse.
        still = replace(many.maximum, hessian=1e12 * many.maximum.hessian)
        fixed = simulated_statistics(frame, still, surveys=600, rng=rng)
        assert fixed.mean() > quick.mean() + 1

    def test_very_many_visits_are_checked_by_one_step(self, many, monkeypatch):
        again = goodness_of_fit(many, seed=1)
        monkeypatch.setattr(goodness_of_fit_module, "_MANY", 1000)
        quick = goodness_of_fit(many, seed=1)
        assert (again.p.interval, quick.p.interval) == ("wilson+surveys:100", "wilson+surveys:40")
        assert quick.statistic == again.statistic
        assert quick.c_hat.value == pytest.approx(again.c_hat.value, rel=0.1)


class TestQuasi:
    @pytest.mark.parametrize("c_hat", [0.4, 1.0, 2.25, 4.0])
    def test_half_width_on_the_logit_scale_grows_by_the_root(self, c_hat):
        fit = fit_occupancy(survey(2, sites=4000))
        plain = occupancy_share(fit, interval="wald")
        level = quasi_level(0.95, c_hat)
        wide = quasi(occupancy_share(fit, level=level, interval="wald"), c_hat)
        wide_width, width = (logit(one.high) - logit(one.low) for one in (wide, plain))
        ratio = wide_width / width
        assert ratio == pytest.approx(max(1.0, np.sqrt(c_hat)), rel=1e-9)
        assert wide.se / plain.se == pytest.approx(ratio)
        assert wide.level == 0.95

    def test_a_hopeless_model_still_has_an_interval(self):
        assert quasi_level(0.95, 1e6) < 1


def test_a_site_that_is_visited_on_most_nights_fits_into_memory(monkeypatch):
    """36 visits have 7e10 histories, of which 40 occur. Few visits are counted alike either way."""
    rng = np.random.default_rng(3)

    def statistic(visits):
        present = rng.random((40, 1)) < 0.7
        heard = present & (rng.random((40, visits)) < 0.5)
        return goodness_of_fit(fit_occupancy(heard), seed=1, replicates=3)

    many = statistic(36)
    assert np.isfinite(many.statistic)
    state = rng.bit_generator.state
    few = statistic(4)
    rng.bit_generator.state = state
    monkeypatch.setattr(simulated_surveys, "_MOST_COUNTED", 0)
    assert statistic(4) == few


def test_more_visits_than_a_number_has_bits_are_checked_all_the_same():
    """Among seventy nights of the season each row has the same four visits as before."""
    history = survey(4)
    many = np.full((len(history), 70), NAN)
    many[:, [0, 33, 63, 69]] = history
    few, check = (goodness_of_fit(fit_occupancy(one), seed=1) for one in (history, many))
    assert check.statistic == pytest.approx(few.statistic, rel=1e-6)
    assert check.c_hat.value == pytest.approx(few.c_hat.value, rel=0.1)
    alike = np.arange(len(history)) % 2.0
    night = np.zeros(many.shape)
    night[:, 69] = alike
    by_visit = goodness_of_fit(fit_occupancy(many, detection={"x": night}), seed=1, replicates=3)
    short = fit_occupancy(history, detection={"x": night[:, [0, 33, 63, 69]]})
    assert by_visit.statistic == pytest.approx(pearson(short), rel=1e-6)


def test_seventy_visits_that_were_all_made():
    """The chance of a history is that of its number of calls; checked by logarithms."""
    rng = np.random.default_rng(8)
    heard = (rng.random((30, 1)) < 0.7) & (rng.random((30, 70)) < 0.1)
    fit = fit_occupancy(heard)
    psi, p = 1 / (1 + np.exp(-fit.coefficients))
    calls = heard.sum(axis=1)
    chance = np.exp(np.log(psi) + calls * np.log(p) + (70 - calls) * np.log1p(-p))
    expected = 30 * (chance + (calls == 0) * (1 - psi))
    counts, first = np.unique(heard, axis=0, return_counts=True, return_index=True)[2:0:-1]
    terms = (counts - expected[first]) ** 2 / expected[first]
    assert pearson(fit) == pytest.approx(terms.sum() + 30 - expected[first].sum())


def test_blocks_that_models_share_draw_the_same_surveys(monkeypatch):
    """Some visits are missing, so that there are several cohorts."""
    monkeypatch.setattr(visit_layout, "MOST_NUMBERS", 150)
    monkeypatch.setattr(goodness_of_fit_module, "_MANY", 150)
    rng = np.random.default_rng(8)
    air, year = rng.normal(size=(400, 3)), np.repeat(np.arange(2018, 2023), 80)
    heard = ((rng.random((400, 1)) < 0.5) & (rng.random((400, 3)) < expit(air))) * 1.0
    heard[rng.random(400) < 0.2, 2] = np.nan
    columns = visit_columns(heard, {"air": air}, year)
    assert len(columns.layout.blocks) > 5
    shared, plain = (
        goodness_of_fit(fit_trend(heard, year, year, detection=of).fit, seed=1)
        for of in (columns, {"air": air})
    )
    assert shared.statistic == pytest.approx(plain.statistic)
    assert shared.c_hat.value == pytest.approx(plain.c_hat.value, rel=1e-6)
    assert shared.p.value == plain.p.value
