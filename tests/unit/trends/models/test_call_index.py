"""The call-index model against brute force, differences and simulated truth."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from surveys.trends import estimates
from surveys.trends.models.call_index import (
    _state_shares,
    fit_call_index,
    heard_given_state,
    index_odds_ratio,
    summarize_groups,
)
from surveys.trends.models.call_index_likelihood import (
    all_thresholds,
    hessian,
    index_cells,
    observation_table,
    state_shares,
    value_gradient,
)
from surveys.trends.models.occupancy import fit_occupancy
from surveys.trends.models.occupancy_estimates import occupancy_share
from surveys.trends.numerics.ordinal import class_chances, thresholds_of

NAN = float("nan")
number = st.floats(-2, 2)
STATES = np.array([0.3, 0.3, 0.25, 0.15])
HEARD = np.array([[1, 0, 0, 0], [0.5, 0.5, 0, 0], [0.3, 0.4, 0.3, 0], [0.1, 0.2, 0.3, 0.4]])


def brute_force(index, theta, state, detection):
    """Sum over the latent state of every row; ``detection`` (rows, visits, b)."""
    a = state.shape[1]
    total = 0.0
    for row, heard in enumerate(index):
        shift = np.array([state[row] @ theta[9 : 9 + a]])
        chances = np.exp(class_chances(thresholds_of(theta[:3])[0], shift).log[0])
        likelihood = 0.0
        for z in range(4):
            term = chances[z]
            for visit, y in enumerate(heard):
                if np.isnan(y):
                    continue
                if y > z:
                    term = 0.0
                elif z:
                    own = theta[3 + z * (z - 1) // 2 : 3 + z * (z + 1) // 2]
                    shift = np.array([detection[row, visit] @ theta[9 + a :]])
                    term *= np.exp(class_chances(thresholds_of(own)[0], shift).log[0][int(y)])
            likelihood += term
        total += np.log(likelihood)
    return total


@settings(deadline=None)
@given(
    index=st.lists(
        st.lists(st.sampled_from([0.0, 1, 2, 3, NAN]), min_size=3, max_size=3),
        min_size=1,
        max_size=4,
    ),
    theta=st.tuples(*[number] * 11),
    by_visit=st.booleans(),
)
def test_likelihood_is_the_sum_over_latent_states(index, theta, by_visit):
    index, theta = np.array(index), np.array(theta)
    rows = len(index)
    state = np.linspace(-1, 1, rows)[:, None]
    detection = np.linspace(-1, 1, rows * 3).reshape(rows, 3, 1)
    given_design = detection if by_visit else detection[:, 0]
    wide = detection if by_visit else np.repeat(detection[:, :1], 3, axis=1)
    value = value_gradient(index_cells(index, state, given_design))(theta)[0]
    assert value == pytest.approx(brute_force(index, theta, state, wide), rel=1e-8, abs=1e-9)


def simulated(rng, rows, *, states=STATES, visits=4):
    z = rng.choice(4, size=rows, p=states)
    cumulative = HEARD.cumsum(axis=1)[z]
    return (rng.random((rows, visits))[:, :, None] > cumulative[:, None, :-1]).sum(axis=2) * 1.0


@pytest.mark.parametrize("by_visit", [True, False])
def test_gradient_matches_differences(by_visit):
    rng = np.random.default_rng(1)
    index = simulated(rng, 40)
    index[rng.random(index.shape) < 0.2] = NAN
    detection = rng.normal(size=(40, 4, 2) if by_visit else (40, 2))
    evaluate = value_gradient(index_cells(index, rng.normal(size=(40, 1)), detection))
    theta = rng.normal(size=12) * 0.5
    for k, move in enumerate(np.eye(12) * 1e-6):
        slope = (evaluate(theta + move)[0] - evaluate(theta - move)[0]) / 2e-6
        assert evaluate(theta)[1][k] == pytest.approx(slope, rel=1e-5, abs=1e-6)


@pytest.mark.parametrize("by_visit", [True, False])
def test_hessian_matches_differences_of_the_gradient(by_visit):
    rng = np.random.default_rng(2)
    index = simulated(rng, 60)
    index[rng.random(index.shape) < 0.2] = NAN
    detection = rng.normal(size=(60, 4, 2) if by_visit else (60, 2))
    cells = index_cells(index, rng.normal(size=(60, 1)), detection)
    evaluate, theta = value_gradient(cells), rng.normal(size=12) * 0.5
    differences = [
        (evaluate(theta + move)[1] - evaluate(theta - move)[1]) / 2e-6 for move in 1e-6 * np.eye(12)
    ]
    np.testing.assert_allclose(hessian(cells, theta), differences, rtol=1e-5, atol=1e-5)


def test_thresholds_that_ran_off_are_seen_though_their_steps_did_not():
    """Free numbers are the first threshold and the logarithms of the steps to the next ones:
    three steps of e^2 lie farther than any of the free numbers."""
    cells = index_cells(np.array([[0.0, 1, 2, 3]]), np.zeros((1, 0)), np.zeros((1, 0)))
    theta = np.array([-1.0, 2, 2, 0.5, 1, 2, 3, 0, 1])
    step = np.exp(2)
    assert all_thresholds(cells, theta) == pytest.approx(
        [
            *theta,
            *(-1, -1 + step, -1 + 2 * step),
            0.5,
            *(1, 1 + step),
            *(3, 4, 4 + np.e),
        ]
    )


def test_an_index_that_is_never_heard_may_have_no_chance_at_all():
    """Two thresholds coincide where the likelihood is best; it is that of thresholds just apart."""
    heard = np.array([[0.0, 1, 3], [0, 0, 1]])
    evaluate = value_gradient(index_cells(heard, np.zeros((2, 0)), np.zeros((2, 0))))
    others = [0.2, -0.5, 0.3, 0.1, 0.0, -0.3, -0.2, 0.4]
    with np.errstate(invalid="ignore"):
        together, _ = evaluate(np.array([*others, -40.0]))
    apart, _ = evaluate(np.array([*others, -25.0]))
    assert together == pytest.approx(apart, abs=1e-8)


def test_state_shares_have_the_right_gradient():
    rng = np.random.default_rng(2)
    cells = index_cells(simulated(rng, 30), rng.normal(size=(30, 2)), np.zeros((30, 0)))
    theta, rows = rng.normal(size=11) * 0.5, cells.weight
    gradient = state_shares(cells, theta, rows)[1]
    for k, move in enumerate(np.eye(11) * 1e-6):
        change = (
            state_shares(cells, theta + move, rows)[0] - state_shares(cells, theta - move, rows)[0]
        )
        np.testing.assert_allclose(gradient[:, k], change / 2e-6, atol=1e-8)


def test_a_visit_cannot_hear_more_than_the_state():
    table = observation_table(np.zeros(9))
    assert (np.triu(table, 1) == 0).all()
    np.testing.assert_allclose(table.sum(axis=1), 1.0)


@pytest.fixture(scope="module")
def fit():
    index = simulated(np.random.default_rng(3), 1500)
    index[np.random.default_rng(4).random(index.shape) < 0.1] = NAN
    return fit_call_index(index)


class TestFit:
    def test_states_are_recovered(self, fit):
        ((_, summary),) = summarize_groups(fit, level=0.99)
        for share, truth in zip(summary.states, STATES, strict=True):
            assert share.low < truth < share.high
            assert share.flags == ()

    def test_expected_index_and_full_chorus(self, fit):
        ((_, summary),) = summarize_groups(fit, level=0.99)
        assert summary.expected_index.low < 1.25 < summary.expected_index.high
        assert summary.expected_index.value == pytest.approx(
            sum(k * share.value for k, share in enumerate(summary.states))
        )
        assert summary.full_chorus.value == summary.states[3].value

    def test_observation_table(self, fit):
        np.testing.assert_allclose(heard_given_state(fit), HEARD, atol=0.1)

    def test_raw_index_is_too_low(self, fit):
        ((_, summary),) = summarize_groups(fit)
        naive = np.nanmean(simulated(np.random.default_rng(3), 1500) == 3)
        assert summary.full_chorus.low > naive

    def test_groups_differ(self):
        rng = np.random.default_rng(5)
        loud, quiet = np.array([0.1, 0.2, 0.3, 0.4]), np.array([0.6, 0.25, 0.1, 0.05])
        index = np.vstack([simulated(rng, 400, states=loud), simulated(rng, 400, states=quiet)])
        year = np.repeat([2001, 2002], 400)
        found = fit_call_index(index, groups=year, clusters=np.tile(np.arange(400), 2))
        summaries = dict(summarize_groups(found, level=0.99))
        for label, truth in ((2001, loud), (2002, quiet)):
            expected = truth @ np.arange(4)
            summary = summaries[label].expected_index
            assert summary.low < expected < summary.high
            assert "clustered" in summary.interval
        ratio = index_odds_ratio(found, "state: 2002")
        assert ratio.high < 0.5
        assert ratio.interval == "clustered"

    def test_covariates(self):
        rng = np.random.default_rng(6)
        fish = np.repeat([0.0, 1.0], 400)
        states = [np.array([0.2, 0.2, 0.3, 0.3]), np.array([0.7, 0.1, 0.1, 0.1])]
        index = np.vstack([simulated(rng, 400, states=own) for own in states])
        air = rng.normal(15, 3, index.shape)
        found = fit_call_index(index, state={"fish": fish}, detection={"air": air})
        assert index_odds_ratio(found, "state: fish").high < 1
        air_ratio = index_odds_ratio(found, "detection: air", level=0.99)
        assert air_ratio.low < 1 < air_ratio.high
        assert air_ratio.interval == "profile"

    def test_the_units_of_a_covariate_change_no_interval(self):
        """Delta intervals of the states need the slope in the units of the coefficients."""
        rng = np.random.default_rng(7)
        index, night = simulated(rng, 300), rng.normal(100.0, 40.0, 300)
        year = np.arange(300) % 3
        summaries = [
            summarize_groups(fit_call_index(index, groups=year, state={"night": unit * night}))
            for unit in (1.0, 1 / 365)
        ]
        for (_, one), (_, other) in zip(*summaries, strict=True):
            for name in ("expected_index", "full_chorus"):
                ours, theirs = getattr(one, name), getattr(other, name)
                assert (ours.low, ours.high) == pytest.approx((theirs.low, theirs.high), rel=1e-5)

    def test_the_slope_of_the_states_is_by_the_coefficients_that_are_told(self):
        rng = np.random.default_rng(8)
        night = rng.normal(100.0, 40.0, 200)
        fit = fit_call_index(simulated(rng, 200), groups=np.arange(200) % 2, state={"night": night})
        raw = fit.fitted.coefficients
        gradient = _state_shares(fit, 1, raw)[1]
        for k in range(len(raw)):
            move = np.zeros(len(raw))
            move[k] = 1e-7 * max(1.0, abs(raw[k]))
            ahead, behind = (_state_shares(fit, 1, raw + side * move)[0] for side in (1, -1))
            np.testing.assert_allclose(gradient[:, k], (ahead - behind) / (2 * move[k]), atol=2e-6)

    def test_unknown_coefficient(self, fit):
        with pytest.raises(ValueError, match="expected one of"):
            index_odds_ratio(fit, "state: fish")


class TestWeakData:
    @pytest.mark.parametrize(
        ("index", "flag"),
        [
            (np.zeros((5, 3)), estimates.NEVER_HEARD),
            (np.full((5, 3), NAN), estimates.NO_EFFORT),
            (np.zeros((0, 0)), estimates.NO_EFFORT),
            (np.array([[1.0], [2], [0]]), estimates.NO_REPEAT_VISITS),
        ],
    )
    def test_nothing_to_fit(self, index, flag):
        fit = fit_call_index(index)
        assert flag in fit.fitted.flags
        assert heard_given_state(fit) is None
        for _, summary in summarize_groups(fit):
            assert summary.expected_index.value is None

    def test_no_chorus_ever_heard_has_no_share_of_chorus(self):
        index = np.minimum(simulated(np.random.default_rng(7), 300), 2)
        ((_, summary),) = summarize_groups(fit_call_index(index))
        assert summary.full_chorus.value is None
        assert estimates.INDEX_NEVER_HEARD in summary.full_chorus.flags
        assert summary.states[0].flags == ()
        assert sum(share.value for share in summary.states[:3]) == pytest.approx(1.0)

    def test_heard_or_not_is_the_occupancy_model(self):
        index = np.minimum(simulated(np.random.default_rng(7), 300), 1)
        fit = fit_call_index(index)
        occupancy = fit_occupancy(index)
        ((_, summary),) = summarize_groups(fit)
        assert fit.fitted.log_likelihood == pytest.approx(occupancy.log_likelihood, abs=1e-7)
        assert summary.states[1].value == pytest.approx(occupancy_share(occupancy).value, abs=1e-5)
        assert summary.states[1].se == pytest.approx(occupancy_share(occupancy).se, rel=1e-3)

    def test_row_without_its_covariate_is_left_out(self):
        fish = np.zeros(100)
        fish[::2] = 1
        fish[3] = NAN
        found = fit_call_index(simulated(np.random.default_rng(8), 100), state={"fish": fish})
        assert found.fitted.rows == 99
        assert estimates.COVARIATE_MISSING in found.fitted.flags

    @pytest.mark.parametrize("clusters", [1, 5])
    def test_few_clusters(self, clusters):
        index = simulated(np.random.default_rng(9), 200)
        found = fit_call_index(index, clusters=np.arange(200) % clusters)
        assert estimates.FEW_CLUSTERS in found.fitted.flags


@pytest.mark.parametrize("wrong", [4, -1, 0.5])
def test_index_is_a_whole_class(wrong):
    with pytest.raises(ValueError, match="0, 1, 2, 3 or NaN"):
        fit_call_index([[0, wrong]])
