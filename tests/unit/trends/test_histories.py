"""From listening periods to detection histories: missing stays missing."""

from datetime import date

import numpy as np
import pytest

from surveys.trends.histories import (
    ListeningPeriod,
    PeriodColumns,
    build_histories,
    columns_from_records,
    select_rows,
)

NAN = float("nan")


def period(stop, day, index=None, *, route="R1", year=2024, **more):
    return ListeningPeriod(
        route=route, stop=stop, season_year=year, night=date(2024, 3, day), call_index=index, **more
    )


def histories(*records, **more):
    return build_histories(columns_from_records(records), **more)


class TestListeningPeriod:
    @pytest.mark.parametrize(
        ("index", "detected", "heard"),
        [(0, None, False), (2, None, True), (None, True, True), (None, False, False)],
    )
    def test_heard(self, index, detected, heard):
        assert period("a", 1, index, detected=detected).heard is heard

    def test_not_reached_is_unknown(self):
        assert period("a", 1).heard is None

    @pytest.mark.parametrize(
        ("values", "words"),
        [
            ({"index": 4}, "call index must be"),
            ({"index": -1}, "call index must be"),
            ({"index": 0, "detected": True}, "contradicts"),
            ({"index": 1, "detected": False}, "contradicts"),
            ({"index": 1, "visit_number": 0}, "count from 1"),
        ],
    )
    def test_impossible_records_are_refused(self, values, words):
        with pytest.raises(ValueError, match=words):
            period("a", 1, **values)


class TestStops:
    def test_a_stop_not_reached_is_missing_never_zero(self):
        found = histories(
            period("a", 1, 0), period("a", 9, 2), period("b", 1, 1), period("b", 9, None)
        )
        np.testing.assert_array_equal(found.detected, [[0, 1], [1, NAN]])
        np.testing.assert_array_equal(found.call_index, [[0, 2], [1, NAN]])

    def test_a_stop_without_a_record_on_a_visit_is_missing(self):
        found = histories(period("a", 1, 0), period("a", 9, 0), period("b", 9, 3))
        np.testing.assert_array_equal(found.detected, [[0, 0], [NAN, 1]])

    def test_visit_numbers_place_the_columns(self):
        found = histories(period("a", 9, 1, visit_number=3))
        np.testing.assert_array_equal(found.detected, [[NAN, NAN, 1]])

    def test_visits_are_numbered_by_night_of_the_route(self):
        found = histories(period("a", 9, 1), period("b", 2, 0))
        assert found.site.tolist() == ["a", "b"]
        np.testing.assert_array_equal(found.detected, [[NAN, 1], [0, NAN]])

    def test_season_years_are_rows_of_their_own(self):
        found = histories(period("a", 1, 1, year=2023), period("a", 1, 0, year=2024))
        assert found.season_year.tolist() == [2023, 2024]
        assert found.site.tolist() == ["a", "a"]

    def test_same_stop_label_on_two_routes_stays_apart(self):
        found = histories(period("1", 1, 1, route="A"), period("1", 1, 0, route="B"))
        assert found.site.tolist() == ["A/1", "B/1"]
        assert found.cluster.tolist() == ["A", "B"]

    def test_two_nights_under_one_visit_number_are_refused(self):
        with pytest.raises(ValueError, match="visit 1 holds two nights"):
            histories(period("a", 1, 1, visit_number=1), period("a", 2, 1, visit_number=1))

    def test_heard_without_index(self):
        found = histories(period("a", 1, detected=True))
        np.testing.assert_array_equal(found.detected, [[1]])
        np.testing.assert_array_equal(found.call_index, [[NAN]])

    def test_nothing_gives_empty_arrays(self):
        found = histories()
        assert found.detected.shape == (0, 0)


class TestRoutes:
    def test_heard_at_any_stop_with_the_highest_index(self):
        found = histories(
            period("a", 1, 0), period("b", 1, 2), period("a", 9, 0), period("b", 9), site="route"
        )
        np.testing.assert_array_equal(found.detected, [[1, 0]])
        np.testing.assert_array_equal(found.call_index, [[2, 0]])

    def test_site_is_stop_or_route(self):
        with pytest.raises(ValueError, match="'stop' or 'route'"):
            histories(period("a", 1, 0), site="pond")


class TestCovariates:
    def test_visit_covariates_follow_the_visit_and_miss_where_unknown(self):
        found = histories(
            period("a", 1, 0, covariates={"air": 12.5}),
            period("a", 9, 1, covariates={"air": None}),
        )
        np.testing.assert_array_equal(found.visit_covariates["air"], [[12.5, NAN]])

    def test_routes_average_over_their_stops(self):
        found = histories(
            period("a", 1, 0, covariates={"air": 12.0}),
            period("b", 1, 1, covariates={"air": 14.0}),
            period("c", 1, 1),
            site="route",
        )
        np.testing.assert_array_equal(found.visit_covariates["air"], [[13.0]])

    def test_site_covariates_by_label(self):
        found = histories(
            period("a", 1, 0), period("b", 1, 0), site_covariates={"fish": {"a": 1.0}}
        )
        np.testing.assert_array_equal(found.site_covariates["fish"], [1.0, NAN])


def test_select_rows():
    found = histories(
        period("a", 1, 1, covariates={"air": 10.0}),
        period("b", 1, 0),
        site_covariates={"fish": {"a": 1.0, "b": 0.0}},
    )
    part = select_rows(found, found.site == "b")
    assert part.site.tolist() == ["b"]
    assert part.site_covariates["fish"].tolist() == [0.0]
    assert part.visit_covariates["air"].shape == (1, 1)


@pytest.mark.parametrize(
    ("change", "words"),
    [({"heard": np.zeros(3)}, "heard"), ({"visit_number": np.zeros(2, int)}, "count from 1")],
)
def test_columns_must_fit(change, words):
    good = {
        "route": np.array([1, 1]),
        "stop": np.array([1, 2]),
        "season_year": np.array([2024, 2024]),
        "night": np.array([1, 1]),
        "visit_number": np.array([1, 1]),
        "call_index": np.zeros(2),
        "heard": np.zeros(2),
    }
    with pytest.raises(ValueError, match=words):
        PeriodColumns(**(good | change))
