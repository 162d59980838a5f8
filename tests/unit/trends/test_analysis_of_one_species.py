"""Everything of one species at once."""

import dataclasses
import inspect

import numpy as np
import pytest

import surveys.trends
from surveys.trends import estimates
from surveys.trends.analysis import Parts, analyze
from surveys.trends.histories import PeriodColumns
from surveys.trends.periods import SpeciesPeriods
from surveys.trends.table import yearly_table
from tests.unit.trends.simulated import persistent_seasons

TRUTH = np.linspace(0.7, 0.4, 8)


def periods(seed=1, routes=30, stops=4, p=0.5):
    history, year, site = persistent_seasons(
        np.random.default_rng(seed), sites=routes * stops, psi=TRUTH, p=p, visits=3
    )
    heard = history.ravel()
    visit = np.tile(np.arange(1, 4), len(year))
    return PeriodColumns(
        route=np.repeat(site // stops, 3),
        stop=np.repeat(site, 3),
        season_year=np.repeat(year, 3),
        night=np.repeat(year, 3) * 365 + visit * 20,
        visit_number=visit,
        call_index=heard,
        heard=heard,
    )


def result_of(columns, *, site="stop"):
    periods = SpeciesPeriods(
        columns=columns,
        day=columns.night % 365,
        in_season=np.ones(len(columns.night), dtype=bool),
        stops={},
    )
    parts = Parts(turnover=False, index=False, phenology=False)
    return analyze("Lithobates sylvaticus", periods, site=site, parts=parts)


@pytest.fixture(scope="module")
def result():
    return result_of(periods())


def test_every_year_is_in_every_part(result):
    years = list(range(2001, 2009))
    assert [year.season_year for year in result.years] == years
    assert [year for year, _ in result.trend.line] == years
    assert [year for year, _ in result.trend.naive_line] == years


def test_corrected_years_hold_the_truth_and_lie_above_naive(result):
    """In the one fixed program that is simulated here."""
    for year, truth in zip(result.years, TRUTH, strict=True):
        assert year.occupancy.low < truth < year.occupancy.high
        assert year.occupancy.value > year.naive.value


def test_interval_by_route_has_the_same_value(result):
    for year in result.years:
        assert year.occupancy_by_route.value == year.occupancy.value
        by_route = year.occupancy_by_route
        assert by_route.low < by_route.value < by_route.high
        assert "clustered" in by_route.interval


def test_detection_has_an_interval_by_route(result):
    for year in result.years:
        assert year.detection.low < year.detection.value < year.detection.high
        assert "clustered" in year.detection.interval


def test_one_route_cannot_be_clustered():
    result = result_of(periods(routes=1, stops=60))
    for year in result.years:
        by_route = year.occupancy_by_route
        assert by_route.value == year.occupancy.value
        assert (by_route.low, by_route.high) == (year.detection.low, year.detection.high)
        assert by_route.low is None
        assert estimates.FEW_CLUSTERS in year.occupancy.flags
        assert estimates.FEW_CLUSTERS in year.detection.flags
    assert estimates.FEW_CLUSTERS in result.trend.log_odds.flags


def test_naive_is_the_same_in_the_yearly_table_and_in_corrected_years(result):
    table = yearly_table("Lithobates sylvaticus", periods())
    for row, year in zip(table, result.years, strict=True):
        assert row.naive_occupancy == year.naive.value
        assert (row.stops, row.stops_detected) == (year.sites, year.sites_heard)
        effort = year.effort
        assert (row.routes, row.visits, row.periods) == (
            effort.routes, effort.visits, effort.periods,
        )  # fmt: skip


def test_trend_holds_the_truth(result):
    points = 100 * (TRUTH[-1] - TRUTH[0]) / 7
    assert result.trend.points.low < points < result.trend.points.high


def test_trend_is_clustered_by_route(result):
    assert result.trend.log_odds.interval == "routes-and-years"


def test_odds_follow_from_the_slope(result):
    slope, odds = result.trend.log_odds, result.trend.odds
    for limit in ("value", "low", "high"):
        assert getattr(odds, limit) == pytest.approx(100 * np.expm1(getattr(slope, limit)))
    assert odds.flags == slope.flags


def test_routes_as_sites(result):
    by_route = result_of(periods(), site="route")
    assert by_route.years[0].naive.value > result.years[0].naive.value


def test_silent_species_has_rows_and_no_numbers():
    silent = result_of(periods(p=0.0))
    assert [year.naive.value for year in silent.years] == [0.0] * 8
    assert all(estimates.NEVER_HEARD in year.occupancy.flags for year in silent.years)
    assert silent.trend.odds.value is None


def test_public_names_exist():
    for name in surveys.trends.__all__:
        assert hasattr(surveys.trends, name)
    named = {
        name
        for name, value in vars(surveys.trends).items()
        if not name.startswith("_") and not inspect.ismodule(value)
    }
    assert set(surveys.trends.__all__) == named


def test_results_are_frozen(result):
    with pytest.raises(dataclasses.FrozenInstanceError):
        result.trend = None
