"""Occupancy with false positives against brute force, differences and simulated truth."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import expit, logit

from surveys.trends import estimates
from surveys.trends.models.false_positive import (
    PARTS,
    false_positive_chance,
    false_positive_occupancy,
    fit_false_positive,
    fit_false_positive_designs,
)
from surveys.trends.models.false_positive_likelihood import (
    cell_scores,
    false_positive_cells,
    objective,
    occupied_given_history,
)
from surveys.trends.numerics.design import Design, site_design

HEARD = {
    "none": float("nan"),
    "silent": 0.0,
    "heard": 1.0,
    "in vain": 1.0,
    "certain": 1.0,
    "unasked": 1.0,
}
coefficient = st.floats(-3, 3)


def brute_force(history, certain, checked, psi, p, false, sure):
    """Sum over both states of every site, a visit at a time, by the table of chances in Miller et
    al. 2011, Ecology 92:1422-1428. Only of what was checked does it count how it ended."""
    total = 0.0
    for site in range(len(history)):
        likelihood = 0.0
        for state, chance in ((1, psi[site]), (0, 1 - psi[site])):
            for visit in range(history.shape[1]):
                if np.isnan(history[site, visit]):
                    continue
                heard = p[site, visit] if state else false[site, visit]
                known = sure[site, visit] if state else 0.0
                if certain[site, visit] and not checked[site, visit]:
                    chance *= heard * state
                elif history[site, visit] and not checked[site, visit]:
                    chance *= heard
                elif certain[site, visit]:
                    chance *= heard * known
                elif history[site, visit]:
                    chance *= heard * (1 - known)
                else:
                    chance *= 1 - heard
            likelihood += chance
        total += np.log(likelihood)
    return total


def simulated(rng, *, rows, visits, psi, p=0.6, false=0.05, sure=0.3):
    occupied = rng.random((rows, 1)) < np.reshape(psi, (-1, 1))
    heard = rng.random((rows, visits)) < np.where(occupied, p, false)
    return heard.astype(float), heard & occupied & (rng.random((rows, visits)) < sure)


@settings(deadline=None)
@given(
    marks=st.lists(
        st.lists(st.sampled_from(list(HEARD)), min_size=3, max_size=3), min_size=1, max_size=4
    ),
    theta=st.tuples(*[coefficient] * 7),
    by_visit=st.booleans(),
)
def test_likelihood_is_the_sum_over_both_states(marks, theta, by_visit):
    history = np.array([[HEARD[mark] for mark in row] for row in marks])
    certain = np.array([[mark in {"certain", "unasked"} for mark in row] for row in marks])
    checked = np.array([[mark in {"certain", "in vain"} for mark in row] for row in marks])
    theta, rows = np.array(theta), len(history)
    x = np.column_stack([np.ones(rows), np.linspace(-1, 1, rows)])
    wide = np.stack([np.ones((rows, 3)), np.arange(rows * 3).reshape(rows, 3) % 2], axis=-1)
    design = wide if by_visit else wide[:, 0]
    offset = np.linspace(-1, 0, rows * 3).reshape(rows, 3) if by_visit else np.linspace(-1, 0, rows)
    cells = false_positive_cells(
        history,
        certain,
        checked=checked,
        psi_design=x,
        p_design=design,
        false_design=design,
        false_offset=offset,
        certain_design=np.ones((rows, 1)),
    )
    along = np.broadcast_to(design if by_visit else design[:, None], (rows, 3, 2))
    known = offset if by_visit else offset[:, None]
    expected = brute_force(
        history,
        certain,
        checked,
        expit(x @ theta[:2]),
        expit(along @ theta[2:4]),
        expit(along @ theta[4:6] + known),
        np.full((rows, 3), expit(theta[6])),
    )
    goal = objective(cells)
    value, gradient = goal.value_gradient(theta)
    assert value == pytest.approx(expected, rel=1e-9, abs=1e-9)
    assert gradient == pytest.approx(cells.weight @ cell_scores(cells, theta))
    values, slopes = [], []
    for shift in 1e-5 * np.eye(7):
        ahead, behind = goal.value_gradient(theta + shift), goal.value_gradient(theta - shift)
        values.append((ahead[0] - behind[0]) / 2e-5)
        slopes.append((ahead[1] - behind[1]) / 2e-5)
    assert gradient == pytest.approx(np.array(values), rel=1e-4, abs=1e-5)
    assert goal.hessian(theta) == pytest.approx(np.array(slopes), rel=1e-4, abs=1e-5)


def test_a_certain_detection_proves_the_site_occupied():
    one = np.ones((2, 1))
    cells = false_positive_cells(
        np.ones((2, 2)),
        np.array([[True, False], [False, False]]),
        psi_design=one,
        p_design=one,
        false_design=one,
        false_offset=np.zeros(2),
        certain_design=one,
    )
    certain, uncertain = occupied_given_history(cells, np.array([-2.0, 0.0, 0.0, 0.0]))[cells.group]
    assert certain == 1.0
    assert uncertain < 0.2


def test_truth_is_found_and_plain_occupancy_is_too_high():
    history, certain = simulated(np.random.default_rng(4), rows=1500, visits=5, psi=0.4)
    fit = fit_false_positive(history, certain)
    share = false_positive_occupancy(fit)
    assert share.low < 0.4 < share.high
    assert share.high < (history.any(axis=1)).mean()
    for part, truth in zip(PARTS, (0.6, 0.05, 0.3), strict=True):
        chance = false_positive_chance(fit, part)
        assert chance.low < truth < chance.high
        assert chance.high - chance.low < 0.08
    assert fit.fitted.flags == ()


def test_what_nobody_checked_is_not_held_against_a_site():
    """Where every recording is checked on half of the sites and none on the others, a detection
    without a confirmation means much here and nothing there."""
    rng = np.random.default_rng(4)
    history, certain = simulated(rng, rows=1500, visits=3, psi=0.4, false=0.1, sure=0.9)
    checked = (history == 1) & (np.arange(1500)[:, None] % 2 == 0)
    certain &= checked
    share = false_positive_occupancy(fit_false_positive(history, certain, checked=checked))
    ignored = false_positive_occupancy(fit_false_positive(history, certain))
    assert share.low < 0.4 < share.high
    assert ignored.high < 0.4 or ignored.low > 0.4
    wide = false_positive_chance(
        fit_false_positive(history, certain, checked=checked), "confirmation"
    )
    assert wide.low < 0.9 < wide.high


def test_years_are_stacked_with_a_level_of_their_own():
    psi = np.repeat([0.7, 0.3], 600)
    history, certain = simulated(np.random.default_rng(5), rows=1200, visits=4, psi=psi)
    year = np.repeat([2023, 2024], 600)
    fit = fit_false_positive_designs(
        history,
        certain,
        psi=Design(names=("2023", "2024"), matrix=1.0 * (year[:, None] == [2023, 2024])),
        parts={part: site_design(1200) for part in PARTS},
    )
    assert expit(fit.fitted.coefficients[:2]) == pytest.approx([0.7, 0.3], abs=0.06)


@pytest.mark.parametrize("heard", [0.05, 0.4])
def test_without_certain_detections_there_is_no_number(heard):
    history, _ = simulated(np.random.default_rng(6), rows=400, visits=4, psi=0.5, false=heard)
    fit = fit_false_positive(history, np.zeros(history.shape, dtype=bool))
    assert estimates.NOT_IDENTIFIED in fit.fitted.flags
    for estimate in (
        false_positive_occupancy(fit),
        *(false_positive_chance(fit, part) for part in PARTS),
    ):
        assert (estimate.value, estimate.low, estimate.high, estimate.se) == (None,) * 4
        assert estimates.NOT_IDENTIFIED in estimate.flags


def test_known_error_rates_of_observers_are_an_offset():
    """With true rates known, the intercept of false detection is 0, and both rates are met."""
    rng = np.random.default_rng(7)
    rates = np.where(np.arange(2000)[:, None] % 2, 0.02, 0.2) * np.ones((2000, 4))
    history, certain = simulated(rng, rows=2000, visits=4, psi=0.5, false=rates)
    fit = fit_false_positive(history, certain, known_error=rates)
    intercept = fit.fitted.names.index("false detection: intercept")
    assert fit.fitted.coefficients[intercept] == pytest.approx(0.0, abs=0.25)
    middle = expit((logit(0.02) + logit(0.2)) / 2)
    chance = false_positive_chance(fit, "false detection")
    assert chance.low < middle < chance.high


def test_visits_on_which_occupied_sites_were_always_heard_are_said_to_be_at_the_edge():
    """Detection differs by visit, so that each chance is of a single visit."""
    rng = np.random.default_rng(10)
    warm = np.tile([0.0, 1.0], (400, 2))
    history, certain = simulated(
        rng, rows=400, visits=4, psi=0.5, p=np.where(warm == 1, 1.0, 0.5), false=0.0, sure=0.5
    )
    fit = fit_false_positive(
        history, certain, detection={"warm": warm}, known_error=warm * 0 + 0.01
    )
    assert estimates.EDGE_OF_RANGE in fit.fitted.flags


def test_clusters_widen_what_rows_alike_have_too_narrow():
    occupied = np.repeat(np.random.default_rng(8).random(60) < 0.5, 10).astype(float)
    history, certain = simulated(np.random.default_rng(4), rows=600, visits=4, psi=occupied)
    alone = false_positive_occupancy(fit_false_positive(history, certain))
    routes = np.repeat(np.arange(60), 10)
    together = false_positive_occupancy(fit_false_positive(history, certain, clusters=routes))
    assert together.se > 2 * alone.se


def test_words_for_what_cannot_be_read():
    history = np.array([[1.0, 0.0], [0.0, 1.0]])
    with pytest.raises(ValueError, match="row 0, visit 1 is certain but was not heard"):
        fit_false_positive(history, np.array([[0, 1], [0, 0]]))
    with pytest.raises(ValueError, match="expected shape"):
        fit_false_positive(history, np.zeros((3, 2)))
    with pytest.raises(ValueError, match="row 0, visit 1 is certain but was not checked"):
        fit_false_positive(np.ones((1, 2)), np.ones((1, 2)), checked=[[1, 0]])
    with pytest.raises(ValueError, match="checked: expected shape"):
        fit_false_positive(np.ones((1, 2)), np.ones((1, 2)), checked=[1])
    with pytest.raises(ValueError, match="above 0 and below 1"):
        fit_false_positive(history, history, known_error=np.zeros(2))
