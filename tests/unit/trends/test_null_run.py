"""The null run: what it simulates is the program without a change, and what it counts is told."""

import numpy as np
import pytest
from scipy.stats import multivariate_normal, norm

from surveys.trends.histories import PeriodColumns, build_histories
from surveys.trends.model_selection import choose_trend
from surveys.trends.null_run import NullTruth, _on_normal_scale, null_run, null_truth, simulated
from surveys.trends.periods import SpeciesPeriods
from surveys.trends.told_trend import chosen_year_trend


def periods_of(rng, *, routes=12, stops=6, years=8, visits=3, psi=None, p=0.6, stay=0.0, alike=0.0):
    """A program with gaps: the first two routes are not run in the third year."""
    psi = np.full(years, 0.5) if psi is None else psi
    sites = routes * stops
    truth = NullTruth(
        level=np.log(psi / (1 - psi))[np.tile(np.arange(years), sites)],
        scatter=0.0,
        detection=np.full((sites * years, visits), p),
        stay=stay,
        alike=alike,
    )
    site, year = np.divmod(np.arange(sites * years), years)
    frame = build_histories(_columns(site, year, np.zeros((len(site), visits)), stops))
    heard = simulated(frame, truth, rng)
    periods = _columns(site, year, heard, stops)
    out = (periods.route < 2) & (periods.season_year == 2017)
    kept = PeriodColumns(
        **{
            name: getattr(periods, name)[~out]
            for name in ("route", "stop", "season_year", "night", "visit_number", "call_index")
        },
        heard=periods.heard[~out],
    )
    return SpeciesPeriods(
        columns=kept,
        day=np.zeros(len(kept.route), dtype=np.int64),
        in_season=np.ones(len(kept.route), dtype=bool),
        stops={},
    )


def _columns(site, year, heard, stops):
    visits = heard.shape[1]
    row = np.repeat(np.arange(len(site)), visits)
    visit = np.tile(np.arange(visits), len(site))
    flat = heard.ravel()
    return PeriodColumns(
        route=site[row] // stops,
        stop=site[row],
        season_year=2015 + year[row],
        night=365 * (2015 + year[row]) + 30 * visit,
        visit_number=visit + 1,
        call_index=flat,
        heard=flat,
    )


def truth_of(periods):
    histories = build_histories(periods.columns)
    choice = choose_trend(histories, {}, {})
    return histories, null_truth(histories, {}, choice, chosen_year_trend(histories, {}, choice))


def test_effort_and_gaps_are_those_of_the_program():
    histories, truth = truth_of(periods_of(np.random.default_rng(1)))
    drawn = simulated(histories, truth, np.random.default_rng(2))
    np.testing.assert_array_equal(np.isnan(drawn), np.isnan(histories.detected))
    gone = (histories.season_year == 2017) & (histories.cluster < 2)
    assert not gone.any()


def test_a_fall_is_taken_out():
    falling = np.linspace(0.8, 0.3, 8)
    histories, truth = truth_of(periods_of(np.random.default_rng(3), psi=falling, routes=40))
    rng = np.random.default_rng(4)
    drawn = np.mean([simulated(histories, truth, rng) for _ in range(20)], axis=0)
    first, last = (drawn[histories.season_year == year].mean() for year in (2015, 2022))
    assert histories.detected[histories.season_year == 2015].mean() > 0.4
    assert first == pytest.approx(last, abs=0.04)


def test_luck_that_lasts_and_is_shared_is_found():
    _, truth = truth_of(
        periods_of(np.random.default_rng(5), routes=60, stops=10, stay=0.8, alike=0.3)
    )
    assert truth.stay == pytest.approx(0.8, abs=0.08)
    assert truth.alike == pytest.approx(0.3, abs=0.08)
    assert truth.scatter < 0.2
    _, none = truth_of(periods_of(np.random.default_rng(6), routes=60, stops=10))
    assert (none.stay, none.alike) == (pytest.approx(0, abs=0.08), pytest.approx(0, abs=0.05))


def test_years_scatter_as_much_as_they_did():
    """Yearly shares of simulated programs differ as the scatter of the line says."""
    rng = np.random.default_rng(11)
    psi = 1 / (1 + np.exp(-rng.normal(0, 0.8, 12)))
    histories, truth = truth_of(periods_of(rng, psi=psi, years=12, routes=60))
    assert truth.scatter == pytest.approx(0.8, abs=0.35)
    year = histories.season_year
    spreads = []
    for _ in range(30):
        drawn = simulated(histories, truth, rng).max(axis=1)
        share = np.array([drawn[year == one].mean() for one in np.unique(year)])
        seen = 1 - (1 - 0.6) ** 3
        spreads.append(np.std(np.log(share / (seen - share)), ddof=1))
    assert np.mean(spreads) == pytest.approx(truth.scatter, rel=0.2)


def test_detection_is_that_of_the_fit():
    _, truth = truth_of(periods_of(np.random.default_rng(7), routes=60, p=0.4))
    heard = truth.detection[truth.detection > 0]
    assert heard.mean() == pytest.approx(0.4, abs=0.03)


def test_the_same_data_give_the_same_run_and_another_species_another():
    periods = periods_of(np.random.default_rng(8))
    one = null_run("Pseudacris crucifer", periods, runs=12)
    assert null_run("Pseudacris crucifer", periods, runs=12) == one
    assert one.runs == 12
    assert one.alarms.high < 0.6


def test_a_species_that_fell_falls_in_few_of_its_null_runs():
    periods = periods_of(np.random.default_rng(12), psi=np.linspace(0.85, 0.2, 8), routes=20)
    histories = build_histories(periods.columns)
    choice = choose_trend(histories, {}, {})
    low, high = chosen_year_trend(histories, {}, choice).line.limits
    assert low < high < 0
    told = null_run("Pseudacris crucifer", periods, runs=20)
    assert told.runs == 20
    assert told.fell <= 4


def test_without_a_trend_nothing_is_told_by_chance():
    periods = periods_of(np.random.default_rng(9), years=4)
    told = null_run("Pseudacris crucifer", periods, runs=3)
    assert (told.runs, told.fell, told.rose) == (0, 0, 0)
    assert told.alarms.value is None


@pytest.mark.slow
def test_false_alarms_of_a_calm_program_are_few():
    told = null_run("Pseudacris crucifer", periods_of(np.random.default_rng(10)), runs=200)
    assert told.alarms.low < 0.05
    assert told.fell + told.rose < 20


@pytest.mark.parametrize("share", [0.03, 0.5, 0.9])
def test_correlations_of_the_normal_scale_are_those_of_scipy(share):
    """Tetrachoric correlation: the share of pairs below one number, by scipy's integral."""
    cut = norm.ppf(share)
    for normal in (0.2, 0.7, 0.95):
        both = multivariate_normal.cdf([cut, cut], cov=[[1.0, normal], [normal, 1.0]])
        correlation = (both - share**2) / (share * (1 - share))
        assert _on_normal_scale(correlation, share) == pytest.approx(normal, abs=1e-6)
