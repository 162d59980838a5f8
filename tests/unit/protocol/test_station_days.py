"""What the stations around a place measured before a night."""

import datetime as dt

import pytest

from surveys.protocol.station_days import (
    Station,
    StationDay,
    is_far_off,
    night_at_stations,
)
from surveys.protocol.values import Place

NIGHT, BEGAN = dt.date(2024, 4, 20), dt.date(2024, 4, 1)
HERE = Place(latitude=45.0, longitude=-90.0)


def station(code="A", north=0.1, **days):
    """`days` maps `d20` to (rain, high, low)."""
    return Station(
        code=code,
        name=code,
        place=Place(latitude=45.0 + north, longitude=-90.0),
        days={
            dt.date(2024, 4, int(day[1:])): StationDay(rain=rain, high=high, low=low)
            for day, (rain, high, low) in days.items()
        },
    )


def rainy(days, code="A", north=0.1):
    return station(code, north, **{f"d{day}": (rain, None, None) for day, rain in days.items()})


def measured(*stations):
    return night_at_stations(stations, HERE, NIGHT, BEGAN)


def test_sums_end_with_the_day_of_the_night():
    every = rainy(dict.fromkeys(range(1, 26), 1.0))
    found = measured(every)
    assert [found.rain_48h.value, found.rain_7d.value, found.rain_season.value] == [2, 7, 20]


def test_every_day_of_two_and_of_seven_and_nine_in_ten_of_the_season():
    found = measured(rainy({day: 1.0 for day in range(1, 21) if day not in (3, 10)}))
    assert (found.rain_season.value, found.rain_season.missing) == (18, 2)
    found = measured(rainy({day: 1.0 for day in range(1, 21) if day not in (3, 4, 15)}))
    assert (found.rain_season, found.rain_7d, found.rain_48h.value) == (None, None, 2)


def test_each_value_is_of_the_nearest_station_that_has_it():
    near = station("near", 0.1, d20=(None, 18.0, 6.0), d19=(1.0, None, None))
    far = station("far", 0.3, d20=(4.0, 25.0, 2.0), d19=(5.0, None, None))
    found = measured(far, near)
    assert (found.rain_48h.value, found.rain_48h.station) == (9.0, "far")
    assert (found.high.value, found.high.station, found.low.value) == (18.0, "near", 6.0)
    assert found.high.distance_m == pytest.approx(11_113, abs=5)  # 1111.319 m for 0.01 degrees


@pytest.mark.parametrize(("north", "used"), [(0.53, True), (0.55, False)])
def test_a_station_beyond_60_km_is_not_used(north, used):
    found = measured(station("A", north, d20=(0.0, 18.0, 6.0)))
    assert (found.high is not None) is used


@pytest.mark.parametrize(
    ("celsius", "far"), [(23.0, False), (23.1, True), (1.0, False), (0.9, True), (12.0, False)]
)
def test_temperatures_far_from_the_day(celsius, far):
    assert is_far_off(celsius, measured(station(d20=(None, 18.0, 6.0)))) is far
    assert not is_far_off(celsius, measured())
