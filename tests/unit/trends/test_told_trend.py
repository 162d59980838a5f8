"""Which seasons the told trend rests on, and what it is flagged with."""

import dataclasses

import numpy as np
import pytest

from surveys.trends import estimates
from surveys.trends.analysis import Parts, analyze
from surveys.trends.histories import PeriodColumns, take
from surveys.trends.models.year_trend import summarize_year_trend
from surveys.trends.periods import SpeciesPeriods
from surveys.trends.sensitivity import (
    ALL_DATA,
    BY_ABUNDANCE,
    BY_ROUTE,
    CORRELATED,
    EVERY_SEASON,
    FALSE_CALLS,
    NO_CHANGE_YEARS,
    NO_FIRST_SEASON,
    NO_FIRST_YEARS,
    TWO_CLASSES,
)
from surveys.trends.told_trend import told_data, trend_of

ROUTES, STOPS, YEARS, VISITS = 12, 4, 10, 3
FIRST = 2011
PARTS = Parts(fit_check=False, turnover=False, index=False, phenology=False)
BARE = dataclasses.replace(PARTS, sensitivity=False)


def columns(seed=4, *, p=lambda year: 0.6, slope=0.0):
    rng = np.random.default_rng(seed)
    route, stop, year, visit = (
        axis.ravel() for axis in np.indices((ROUTES, STOPS, YEARS, VISITS), dtype=np.int64)
    )
    place = route * STOPS + stop
    luck = rng.random((ROUTES * STOPS, YEARS))
    for later in range(1, YEARS):
        kept = rng.random(len(luck)) < 0.8
        luck[kept, later] = luck[kept, later - 1]
    there = luck < 1 / (1 + np.exp(-slope * (np.arange(YEARS) - 4.5)))
    chance = np.array([p(one) for one in range(YEARS)])
    heard = there[place, year] & (rng.random(len(place)) < chance[year])
    return PeriodColumns(
        route=route,
        stop=place,
        season_year=FIRST + year,
        night=365 * (FIRST + year) + 20 * visit,
        visit_number=visit + 1,
        call_index=heard.astype(float),
        heard=heard.astype(float),
        way=np.zeros(len(place), np.int64),
        first_season=np.zeros(len(place), bool),
    )


def periods(own, **more):
    return SpeciesPeriods(
        columns=own,
        day=own.night % 365,
        in_season=np.ones(len(own.night), bool),
        stops={},
        **more,
    )


def analyzed(own, *, site="stop", parts=BARE, **more):
    return analyze("Pseudacris crucifer", periods(own, **more), site=site, parts=parts)


def changed(own, year):
    return dataclasses.replace(own, way=(own.season_year >= year).astype(np.int64))


@pytest.fixture(scope="module")
def plain():
    return columns()


def test_a_step_of_detection_is_no_fall():
    own = columns(p=lambda year: 0.75 if year < 5 else 0.2)
    told = analyzed(changed(own, FIRST + 5)).trend
    assert told.breaks == (FIRST + 5,)
    assert estimates.PROTOCOL_CHANGED in told.occupancy.flags
    assert told.occupancy.low < 0 < told.occupancy.high
    untold = analyzed(own).trend
    assert untold.breaks == ()
    assert estimates.PROTOCOL_CHANGED not in untold.occupancy.flags
    spans = [np.ptp([one.occupancy.low, one.occupancy.high]) for one in (told, untold)]
    assert spans[0] > spans[1] * 1.3


def test_of_a_short_side_only_the_longer_is_told(plain):
    cut = analyzed(changed(plain, FIRST + 8)).trend
    alone = analyzed(take(plain, plain.season_year < FIRST + 8)).trend
    assert (cut.first_year, cut.last_year) == (FIRST, FIRST + 7)
    assert {estimates.PROTOCOL_CHANGED, estimates.YEARS_LEFT_OUT} <= set(cut.occupancy.flags)
    assert [year for year, _ in cut.line] == list(range(FIRST, FIRST + 8))
    assert cut.log_odds.value == pytest.approx(alone.log_odds.value, abs=1e-6)
    assert cut.log_odds.low == pytest.approx(alone.log_odds.low, abs=1e-6)


def test_a_change_that_leaves_no_side_long_enough_gives_no_number(plain):
    own = take(plain, plain.season_year < FIRST + 6)
    told = analyzed(changed(own, FIRST + 4)).trend
    assert told.occupancy.value is None
    assert {estimates.PROTOCOL_CHANGED, estimates.TOO_FEW_DATA} <= set(told.occupancy.flags)


def test_stops_that_were_replaced_are_a_break(plain):
    moved = (plain.stop % STOPS == 0) & (plain.season_year >= FIRST + 5)
    own = dataclasses.replace(plain, stop=np.where(moved, plain.stop + 1000, plain.stop))
    first = 365 * (FIRST + 5)
    old = {int(stop): (0, first - 1) for stop in np.unique(plain.stop) if stop % STOPS == 0}
    new = {stop + 1000: (first, None) for stop in old}
    told = analyzed(own, in_use=old | new).trend
    assert told.breaks == (FIRST + 5,)
    assert estimates.STOPS_CHANGED in told.occupancy.flags
    assert estimates.PROTOCOL_CHANGED not in told.occupancy.flags


def test_an_open_season_is_in_no_trend_and_named(plain):
    last = FIRST + YEARS - 1
    result = analyzed(plain, open_year=last)
    alone = analyzed(take(plain, plain.season_year < last))
    assert [year.is_open for year in result.years] == [False] * (YEARS - 1) + [True]
    assert estimates.OPEN_SEASON in result.years[-1].flags
    assert result.trend == alone.trend
    assert result.years[-1].occupancy.value is not None


def test_seasons_without_effort_are_flagged(plain):
    gap = analyzed(take(plain, plain.season_year != FIRST + 4)).trend
    assert estimates.GAP_YEARS in gap.occupancy.flags
    assert estimates.GAP_YEARS not in analyzed(plain).trend.occupancy.flags


def test_a_season_of_single_visits_is_flagged(plain):
    once = (plain.season_year != FIRST + 4) | (plain.visit_number == 1)
    assert estimates.ONE_VISIT in analyzed(take(plain, once)).trend.occupancy.flags
    assert estimates.ONE_VISIT not in analyzed(plain).trend.occupancy.flags


def test_fewer_than_eight_routes_are_flagged(plain):
    few = analyzed(take(plain, plain.route < 7)).trend
    assert estimates.FEW_CLUSTERS in few.occupancy.flags
    assert estimates.FEW_CLUSTERS not in analyzed(plain).trend.occupancy.flags


def test_heard_everywhere_at_all_times_gives_no_number(plain):
    everywhere = np.ones(len(plain.heard))
    own = dataclasses.replace(plain, heard=everywhere, call_index=everywhere)
    told = analyzed(own).trend
    assert (told.occupancy.value, told.log_odds.low) == (None, None)
    assert estimates.EDGE_OF_RANGE in told.occupancy.flags


def test_routes_that_all_stay_as_they_are_give_no_number(plain):
    """Every stop keeps its state and is always heard where it is: there is no change, and nothing
    to say how uncertain that is."""
    always = (plain.stop % 2).astype(float)
    own = dataclasses.replace(plain, heard=always, call_index=always)
    told = analyzed(own).trend
    assert (told.occupancy.value, told.occupancy.low) == (None, None)
    assert estimates.ROUTES_ALIKE in told.occupancy.flags


@pytest.fixture(scope="module")
def program(plain):
    """Route 0 starts late, route 1 has a new observer every season; rules change in 2016."""
    own = changed(plain, FIRST + 5)
    own = dataclasses.replace(own, first_season=own.route == 1)
    return take(own, (own.route > 0) | (own.season_year >= FIRST + 3))


@pytest.fixture(scope="module")
def lines(program):
    found = analyzed(program, parts=PARTS).sensitivity
    return {line.name: line for line in found}


def test_every_choice_has_a_line_the_told_one_first(lines):
    assert list(lines) == [
        ALL_DATA, EVERY_SEASON, NO_FIRST_SEASON, NO_CHANGE_YEARS, NO_FIRST_YEARS, CORRELATED,
        FALSE_CALLS, TWO_CLASSES, BY_ABUNDANCE, BY_ROUTE,
    ]  # fmt: skip
    assert all(line.applies for line in lines.values())


def test_the_first_line_is_what_is_told(program, lines):
    told = analyzed(program).trend.occupancy
    first = lines[ALL_DATA].change
    assert (first.value, first.low, first.high) == (told.value, told.low, told.high)
    assert (lines[ALL_DATA].routes, lines[ALL_DATA].seasons) == (ROUTES, YEARS)


@pytest.mark.parametrize(
    ("name", "kept"),
    [
        (EVERY_SEASON, lambda own: own.route > 0),
        (NO_CHANGE_YEARS, lambda own: own.season_year != FIRST + 5),
        (
            NO_FIRST_YEARS,
            lambda own: own.season_year >= FIRST + np.where(own.route == 0, 5, 2),
        ),
        (NO_FIRST_SEASON, lambda own: (own.route != 1) | (own.season_year == FIRST)),
    ],
    ids=["every season", "change", "first years", "observers"],
)
def test_a_line_is_the_trend_without_what_it_leaves_out(program, lines, name, kept):
    """The same numbers as of a program that never had what is left out. Both have the same
    model of detection, constant."""
    left = told_data(periods(take(program, kept(program))), "stop")
    assert left.choice.detection == told_data(periods(program), "stop").choice.detection
    alone = trend_of(left)
    line = lines[name]
    assert line.routes == alone.levels.routes
    assert line.seasons == len(alone.levels.years)
    change = summarize_year_trend(alone).occupancy
    assert line.change.value == pytest.approx(change.value, abs=1e-4)
    assert line.change.low == pytest.approx(change.low, abs=1e-4)


def test_correlated_years_have_the_same_value_and_a_wider_interval(lines):
    told, wide = lines[ALL_DATA].change, lines[CORRELATED].change
    assert wide.value == told.value
    assert wide.low <= told.low < told.high <= wide.high


def test_by_route_is_what_the_analysis_by_route_tells(program, lines):
    by_route = analyzed(program, site="route").trend.occupancy
    assert lines[BY_ROUTE].change.value == by_route.value
    assert lines[BY_ROUTE].change.low == by_route.low


def test_with_nothing_to_leave_out_the_told_change_stands(plain):
    found = analyzed(plain, site="route", parts=PARTS).sensitivity
    lines = {line.name: line for line in found}
    assert BY_ROUTE not in lines
    for name in (EVERY_SEASON, NO_FIRST_SEASON, NO_CHANGE_YEARS):
        assert not lines[name].applies
        assert lines[name].change.value == lines[ALL_DATA].change.value
    assert lines[NO_FIRST_YEARS].applies


def test_observers_of_the_first_season_are_not_called_new(plain):
    own = dataclasses.replace(plain, first_season=plain.season_year == FIRST)
    lines = {line.name: line for line in analyzed(own, parts=PARTS).sensitivity}
    assert not lines[NO_FIRST_SEASON].applies
