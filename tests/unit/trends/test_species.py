"""All tables of one species at once."""

import dataclasses

import numpy as np
import pytest

import surveys.trends
from surveys.trends import results
from surveys.trends.columns import (
    CORRECTED_COLUMNS,
    TREND_COLUMNS,
)
from surveys.trends.histories import PeriodColumns
from surveys.trends.species import (
    analyze_species,
    corrected_values,
    trend_values,
)
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


@pytest.fixture(scope="module")
def result():
    return analyze_species("Lithobates sylvaticus", periods(), level=0.99)


def test_every_year_is_in_every_part(result):
    years = list(range(2001, 2009))
    assert [row.season_year for row in result.table] == years
    assert [year.season_year for year in result.years] == years
    assert [year for year, _ in result.line] == years


def test_corrected_years_hold_the_truth_and_lie_above_naive(result):
    for year, truth in zip(result.years, TRUTH, strict=True):
        assert year.occupancy.low < truth < year.occupancy.high
        assert year.occupancy.value > year.naive.value


def test_interval_by_route_has_the_same_value(result):
    for year in result.years:
        assert year.by_route.value == year.occupancy.value
        assert year.by_route.low < year.by_route.value < year.by_route.high
        assert "clustered" in year.by_route.interval


def test_detection_has_an_interval_by_route(result):
    for year in result.years:
        assert year.detection.low < year.detection.value < year.detection.high
        assert "clustered" in year.detection.interval


def test_one_route_cannot_be_clustered_and_says_so():
    year = analyze_species("x", periods(routes=1, stops=60)).years[0]
    assert year.by_route.low == year.occupancy.low
    assert results.FEW_CLUSTERS in year.by_route.flags
    assert results.FEW_CLUSTERS in year.detection.flags
    assert year.detection.low < year.detection.value < year.detection.high


def test_naive_is_the_same_in_table_and_corrected_years(result):
    for row, year in zip(result.table, result.years, strict=True):
        assert row.naive_occupancy == year.naive.value


def test_trend_holds_the_truth(result):
    points = 100 * (TRUTH[-1] - TRUTH[0]) / 7
    assert result.trend.points.low < points < result.trend.points.high


def test_trend_is_clustered_by_route(result):
    assert "clustered" in result.trend.log_odds.interval


def test_routes_as_sites():
    by_route = analyze_species("x", periods(), site="route")
    by_stop = analyze_species("x", periods())
    assert by_route.years[0].naive.value > by_stop.years[0].naive.value


def test_silent_species_has_rows_and_no_numbers():
    silent = analyze_species("x", periods(p=0.0))
    assert [row.naive_occupancy for row in silent.table] == [0.0] * 8
    assert all(results.NEVER_HEARD in year.occupancy.flags for year in silent.years)
    assert silent.trend.odds.value is None


def test_values_follow_their_columns(result):
    for year in result.years:
        values = corrected_values(result.species, year)
        assert list(values) == [column.name for column in CORRECTED_COLUMNS]
    rows = trend_values(result)
    for values in rows:
        assert list(values) == [column.name for column in TREND_COLUMNS]
    assert len({values["scale"] for values in rows}) == 4


def test_public_names_exist_and_are_sorted_into_one_list():
    for name in surveys.trends.__all__:
        assert hasattr(surveys.trends, name)


def test_results_are_frozen(result):
    with pytest.raises(dataclasses.FrozenInstanceError):
        result.species = "other"
