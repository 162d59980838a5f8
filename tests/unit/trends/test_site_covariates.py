"""What is known of stops, as columns of sites."""

import numpy as np
import pytest

from surveys.trends import PeriodColumns, build_histories
from surveys.trends.histories import select_rows
from surveys.trends.site_covariates import site_covariates

STOPS = 60


def periods(heard):
    """Stops 0 to 59, ten a route, two seasons of one visit; `heard` (stops,) in both seasons."""
    stop = np.repeat(np.arange(STOPS), 2)
    count = len(stop)
    year = np.tile([2023, 2024], STOPS)
    return PeriodColumns(
        route=stop // 10,
        stop=stop,
        season_year=year,
        night=year * 365,
        visit_number=np.ones(count, dtype=np.int64),
        call_index=np.repeat(np.asarray(heard, dtype=float), 2),
        heard=np.repeat(np.asarray(heard, dtype=float), 2),
    )


def terms(stops, *, site="stop", heard=None):
    own = periods(np.ones(STOPS) if heard is None else heard)
    return site_covariates(build_histories(own, site=site), own, stops, site)


def labels(*groups):
    """(label, how many stops) in turn."""
    named = [label for label, count in groups for _ in range(count)]
    return dict(enumerate(named))


def test_classes_against_the_commonest():
    habitat = terms({"habitat": labels(("marsh", 15), ("wooded", 30), ("grassy", 15))})["habitat"]
    assert habitat.baseline == "wooded"
    assert sorted(habitat.columns) == ["habitat: grassy", "habitat: marsh"]
    np.testing.assert_array_equal(
        habitat.columns["habitat: marsh"], np.repeat(np.arange(STOPS) < 15, 2)
    )
    assert (habitat.filled, habitat.empty) == (0, ())


def test_small_classes_share_a_column():
    habitat = terms({"habitat": labels(("marsh", 40), ("lake", 6), ("river", 7), ("other", 7))})
    assert list(habitat["habitat"].columns) == ["habitat: other"]
    assert habitat["habitat"].columns["habitat: other"].sum() == 2 * 20


def test_too_few_for_a_column_take_the_mean():
    fish = terms({"fish": labels(("no", 42), ("yes", 14))})["fish"]
    column = fish.columns["fish: yes"]
    assert fish.filled == pytest.approx(4 / 60)
    np.testing.assert_allclose(column[-8:], 14 / 56)


def test_not_known_is_a_class_of_its_own_where_many_are_not_known():
    fish = terms({"fish": labels(("no", 30), ("yes", 14))})["fish"]
    assert sorted(fish.columns) == ["fish: unknown", "fish: yes"]
    assert fish.filled == 0


def test_a_kind_never_heard_is_empty_and_no_column():
    heard = np.arange(STOPS) >= 14
    fish = terms({"fish": labels(("yes", 14), ("no", 46))}, heard=heard)["fish"]
    (kind,) = fish.empty
    assert (kind.name, kind.sites, kind.rows.sum()) == ("fish: yes", 14, 28)
    assert (dict(fish.columns), fish.baseline) == ({}, "no")


def test_one_class_tells_nothing():
    assert terms({"habitat": labels(("marsh", 60))}) == {}


def test_water_held_is_an_amount_with_the_mean_where_not_known():
    held = terms({"hydroperiod": labels(("season", 20), ("always", 30))})["hydroperiod"]
    values = held.columns["hydroperiod"]
    assert values[0] == 1
    assert values[40] == 3
    np.testing.assert_allclose(values[-2:], (20 * 1 + 30 * 3) / 50)
    assert held.filled == pytest.approx(10 / 60)


def test_a_route_has_the_mean_over_its_stops_listened_to():
    stops = {
        "fish": {stop: "yes" if stop % 10 < stop // 10 else "no" for stop in range(STOPS)},
        "hydroperiod": {stop: "always" if stop % 2 else "season" for stop in range(STOPS)},
    }
    own = periods(np.ones(STOPS))
    # Stop 1 of route 1, with fish, was not reached in 2024.
    own.heard[(own.stop == 10) & (own.season_year == 2024)] = np.nan
    many = np.repeat(own.route, 1)
    found = site_covariates(build_histories(own, site="route"), own, stops, "route")
    assert len(np.unique(many)) == 6
    # Six routes are too few for classes: fish has none, the amount of water stays.
    assert "fish" not in found
    held = found["hydroperiod"].columns["hydroperiod"].reshape(6, 2)
    np.testing.assert_allclose(held[0], 2.0)
    assert held[1].tolist() == [2.0, pytest.approx(1 + 2 * 5 / 9)]


@pytest.mark.parametrize("site", ["stop", "route"])
def test_where_nobody_listened_nothing_is_known(site):
    facts = {"fish": labels(("yes", 60)), "hydroperiod": labels(("season", 60))}
    own = periods(np.full(STOPS, np.nan))
    kept = build_histories(own, site=site)
    nobody = select_rows(kept, np.zeros(len(kept.site), dtype=bool))
    assert site_covariates(nobody, own, facts, site) == {}


def test_shares_of_a_route():
    stop = np.arange(120)
    own = PeriodColumns(
        route=stop // 10,
        stop=stop,
        season_year=np.full(120, 2024),
        night=np.full(120, 9),
        visit_number=np.ones(120, dtype=np.int64),
        call_index=np.zeros(120),
        heard=np.zeros(120),
    )
    fish = {one: "yes" if one % 10 < one // 10 else "no" for one in range(120)}
    found = site_covariates(build_histories(own, site="route"), own, {"fish": fish}, "route")
    shares = np.minimum(np.arange(12), 10) / 10
    # The commonest class is the baseline.
    np.testing.assert_allclose(found["fish"].columns["fish: no"], 1 - shares)
