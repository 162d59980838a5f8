"""The trend under other choices: what each line leaves out, and when the ear is wrong."""

import dataclasses

import numpy as np
import pytest
from scipy.special import expit

from surveys.trends import estimates
from surveys.trends.histories import PeriodColumns, take
from surveys.trends.models.level_models import with_certain
from surveys.trends.models.year_trend import summarize_year_trend
from surveys.trends.sensitivity import (
    ALL_DATA,
    BY_ABUNDANCE,
    BY_ROUTE,
    CONFIRMED,
    CORRELATED,
    EVERY_SEASON,
    FALSE_CALLS,
    NO_CHANGE_YEARS,
    NO_FIRST_SEASON,
    NO_FIRST_YEARS,
    TWO_CLASSES,
    sensitivity,
)
from surveys.trends.told_trend import fit_told, told_data, trend_of
from tests.unit.trends.told_programs import (
    FIRST,
    PARTS,
    ROUTES,
    YEARS,
    analyzed,
    changed,
    columns,
    periods,
)


@pytest.fixture(scope="module")
def plain():
    return columns()


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
        FALSE_CALLS, TWO_CLASSES, BY_ABUNDANCE, CONFIRMED, BY_ROUTE,
    ]  # fmt: skip
    assert all(line.applies for line in lines.values())
    assert estimates.LEVEL_NOT_KNOWN not in lines[TWO_CLASSES].change.flags


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


def with_mistakes(seed, *, start=0.6, fall=0.0, false=0.0, sure=0.0, routes=30, spread=0.0):
    """Ten stops a route, three visits a year; occupancy falls by so many percent a year, a visit to
    an empty stop hears the species with chance `false`, a true detection is confirmed with `sure`.
    """
    rng = np.random.default_rng(seed)
    stop, year, visit = (
        axis.ravel() for axis in np.indices((routes * 10, YEARS, 3), dtype=np.int64)
    )
    luck = rng.random((routes * 10, YEARS))
    there = (luck < start * (1 - fall / 100) ** np.arange(YEARS))[stop, year]
    own = spread * np.where(rng.random(routes * 10) < 0.5, 1, -1)
    heard = rng.random(len(stop)) < np.where(there, expit(own)[stop], false)
    return PeriodColumns(
        route=stop // 10,
        stop=stop,
        season_year=FIRST + year,
        night=365 * (FIRST + year) + 20 * visit,
        visit_number=visit + 1,
        call_index=heard.astype(float),
        heard=heard.astype(float),
        certain=heard & there & (rng.random(len(stop)) < sure) if sure else None,
    )


def lines_of(own):
    """The lines that need no other rows; those with fewer rows are tried above."""
    program = periods(own)
    data = told_data(program, "stop")
    fit = trend_of(data)
    told = summarize_year_trend(fit).occupancy
    return {line.name: line for line in sensitivity(data, told, fit, program)}


def test_false_detections_hide_a_fall_and_the_lines_bring_it_back():
    """A species that falls by 12 % per year from 40 % of the stops, where a visit to an empty stop
    hears it with 2 %: the told trend is too flat. The line that knows the mistakes from confirmed
    calls is not, and one with 5 % of the detections false goes part of the way."""
    lines = lines_of(with_mistakes(2, start=0.4, fall=12.0, false=0.02, sure=0.3, routes=60))
    told, assumed, known = (lines[name].change for name in (ALL_DATA, FALSE_CALLS, CONFIRMED))
    assert told.low > -12.0
    assert known.low < -12.0 < known.high < 0
    assert known.value < assumed.value < told.value - 1


def test_confirmed_calls_count_for_the_seasons_that_are_told():
    """Seasons on the short side of a change carry no level; the marks of the others keep to their
    rows."""
    own = with_mistakes(2, start=0.4, fall=12.0, false=0.02, sure=0.3)
    short = lines_of(changed(own, FIRST + 2))[CONFIRMED]
    alone = lines_of(take(own, own.season_year >= FIRST + 2))[CONFIRMED]
    assert short.seasons == alone.seasons == YEARS - 2
    assert estimates.YEARS_LEFT_OUT in short.change.flags
    assert short.change.value == pytest.approx(alone.change.value, abs=1e-3)
    assert short.change.low == pytest.approx(alone.change.low, abs=1e-3)


def test_what_nobody_heard_again_is_not_taken_as_not_confirmed():
    own = with_mistakes(2, start=0.4, fall=12.0, false=0.02, sure=0.9)
    checked = (own.heard > 0) & (own.stop % 4 == 0)
    some = dataclasses.replace(own, certain=own.certain & checked)
    known = dataclasses.replace(some, checked=checked)
    change, expected = lines_of(known)[CONFIRMED].change, _confirmed_change(known)
    assert change.value == pytest.approx(expected.value)
    assert change.value != pytest.approx(lines_of(some)[CONFIRMED].change.value, abs=0.01)


def _confirmed_change(own):
    data = told_data(periods(own), "stop")
    form = with_certain(data.histories.certain, data.histories.checked)
    rows = np.ones(len(data.histories.site), dtype=bool)
    return summarize_year_trend(fit_told(data, rows=rows, like=trend_of(data), form=form)).occupancy


@pytest.mark.parametrize(
    ("sure", "why"), [(0.0, estimates.NOT_IDENTIFIED), (0.02, estimates.TOO_FEW_DATA)]
)
def test_without_enough_confirmed_calls_there_is_no_number(plain, sure, why):
    certain = (plain.heard > 0) & (np.random.default_rng(3).random(len(plain.heard)) < sure)
    assert (certain.sum() > 0) is np.bool_(sure > 0)
    assert certain.sum() < 20
    change = lines_of(dataclasses.replace(plain, certain=certain))[CONFIRMED].change
    assert (change.value, change.low, change.high) == (None, None, None)
    assert change.flags == (why,)


def test_without_a_change_no_form_of_detection_tells_one():
    lines = lines_of(with_mistakes(4, spread=1.5, sure=0.2))
    told = lines[ALL_DATA].change
    for name in (FALSE_CALLS, TWO_CLASSES, BY_ABUNDANCE, CONFIRMED):
        change = lines[name].change
        assert change.low < 0 < change.high
        assert change.high - change.low < 3 * (told.high - told.low)
