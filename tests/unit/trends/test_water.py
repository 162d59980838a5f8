"""The water at stops as visits saw it, and the days from filling to chorus."""

from dataclasses import replace

import numpy as np
import pytest

from surveys.trends.estimates import ONE_SIDED, TOO_FEW_DATA
from surveys.trends.histories import PeriodColumns
from surveys.trends.water import (
    EVERY_LOOK,
    NO_LOOK,
    SOME_LOOKS,
    Between,
    WaterYear,
    water_and_calls,
    water_years,
)

DRY, POOLS, FULL = 0.0, 1.0, 2.0
NAN = float("nan")
# Looks as (night, water); filled, dried, and the fewest and most days with water.
YEARS = {
    "dry, full, dry": (
        [(10, DRY), (20, FULL), (30, DRY)], Between(10, 20), Between(20, 30), (1, 19),
    ),
    "pools are water, and stay between two visits": (
        [(10, POOLS), (20, FULL), (24, DRY)], Between(None, 10), Between(20, 24), (11, 14),
    ),
    "filled again after it dried": (
        [(1, DRY), (5, FULL), (9, DRY), (13, FULL)], Between(1, 5), Between(5, 9), (2, 11),
    ),
    "never with water": ([(1, DRY), (31, DRY)], None, None, (0, 0)),
    "one visit": ([(7, FULL)], Between(None, 7), None, (1, 1)),
}  # fmt: skip


@pytest.mark.parametrize(("looks", "filled", "dried", "held"), YEARS.values(), ids=YEARS)
def test_what_a_season_of_looks_says(looks, filled, dried, held):
    year = WaterYear(stop=1, season_year=2024, looks=tuple(looks))
    assert (year.filled, year.dried, year.held) == (filled, dried, held)


def columns(rows):
    """From (route, stop, season year, night, water, call index)."""
    route, stop, year, night, water, index = (np.array(each) for each in zip(*rows, strict=True))
    return PeriodColumns(
        route=route, stop=stop, season_year=year, night=night, visit_number=np.ones_like(night),
        call_index=index.astype(float), heard=np.where(np.isnan(index), NAN, index > 0),
        covariates={"water": water.astype(float)},
    )  # fmt: skip


def test_looks_are_told_by_stop_and_season_and_the_wetter_of_a_night_counts():
    rows = [
        (1, 8, 2024, 30, DRY, 0), (1, 8, 2024, 10, POOLS, 0), (1, 8, 2024, 10, FULL, 0),
        (1, 8, 2025, 400, DRY, 0), (1, 7, 2024, 10, NAN, 0),
    ]  # fmt: skip
    assert list(water_years(columns(rows))) == [
        WaterYear(stop=8, season_year=2024, looks=((10, FULL), (30, DRY))),
        WaterYear(stop=8, season_year=2025, looks=((400, DRY),)),
    ]


def seen(water, index, *, stops=6):
    """The same visits, 10 days apart, at stops of three routes; the first stop is stop 0."""
    return columns(
        [
            (stop % 3, stop, 2024, 10 * visit, wet, heard)
            for stop in range(stops)
            for visit, (wet, heard) in enumerate(zip(water, index, strict=True))
        ]
    )


def lag(water, index, **more):
    periods = seen(water, index, **more)
    return water_and_calls(periods, np.ones(len(periods.stop), dtype=bool))


def test_the_lag_lies_between_its_shortest_and_its_longest():
    """Filled on night 1 to 10, first chorus on night 21 to 30: 11 to 29 days."""
    result = lag([DRY, FULL, FULL, FULL], [0, 0, 1, 3])
    assert (result.lag.low, result.lag.value, result.lag.high) == (11, 20, 29)
    assert (result.lags, result.routes, result.before) == (6, 3, 0)


def test_single_callers_are_no_chorus_and_what_is_missing_bounds_nothing():
    assert lag([DRY, FULL, FULL], [0, 1, 2]).lag.high == 19
    # Nobody listened for it on the second visit, so a chorus may have begun any time after filling.
    assert lag([DRY, FULL, FULL], [0, NAN, 2]).lag.low == 0


def test_water_at_the_first_visit_leaves_the_lag_without_an_upper_end():
    result = lag([FULL, FULL, FULL], [0, 0, 2])
    assert (result.lag.low, result.lag.value, result.lag.high) == (11, None, None)
    assert result.lag.flags == (ONE_SIDED,)


def test_a_chorus_before_the_first_filling_is_counted_and_left_out():
    result = lag([DRY, DRY, FULL], [2, 0, 0])
    assert (result.before, result.lags, result.lag.flags) == (6, 0, (TOO_FEW_DATA,))


@pytest.mark.parametrize(("stops", "told"), [(4, False), (5, True)])
def test_few_stops_say_nothing(stops, told):
    assert (lag([DRY, FULL], [0, 2], stops=stops).lag.value is not None) is told


def test_few_routes_say_nothing():
    periods = seen([DRY, FULL], [0, 2], stops=12)
    of_two = replace(periods, route=periods.route % 2)
    assert water_and_calls(of_two, np.ones(24, dtype=bool)).lag.flags == (TOO_FEW_DATA,)


def test_shares_by_what_visits_saw_of_the_water():
    rows = [(stop % 3, stop, 2024, 10, FULL, stop < 4) for stop in range(6)]
    rows += [
        (stop % 3, stop, 2024, night, water, 0)
        for stop in range(6, 12)
        for night, water in ((10, DRY), (20, FULL))
    ]
    rows += [(0, 12, 2024, 10, DRY, 1), (0, 13, 2024, 10, NAN, 1)]
    periods = columns(rows)
    result = water_and_calls(periods, np.ones(len(rows), dtype=bool))
    assert [(one.name, one.sites, one.heard.value) for one in result.classes] == [
        (EVERY_LOOK, 6, 4 / 6), (SOME_LOOKS, 6, 0.0), (NO_LOOK, 1, 1.0),
    ]  # fmt: skip
    out_of_season = water_and_calls(periods, np.zeros(len(rows), dtype=bool))
    assert out_of_season.classes == ()
