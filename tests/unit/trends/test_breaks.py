"""Where listening changed: rules, stops, and which seasons carry a line."""

from collections import Counter

import numpy as np
import pytest

from surveys.trends import estimates
from surveys.trends.breaks import Breaks, find_breaks, steps_within, told_years
from surveys.trends.histories import PeriodColumns, take

ROUTES, YEARS, STOPS = 10, 8, 4


def periods(*, way=None, run=None, moved=None):
    """Ten routes of four stops in eight seasons. `way(route, year)` gives the rules; `run` whether
    a route was run; `moved(route, stop, year)` whether a stop lies at a new place."""
    route, year, stop = (axis.ravel() for axis in np.indices((ROUTES, YEARS, STOPS)))
    kept = np.ones(len(route), bool) if run is None else run(route, year)
    route, year, stop = route[kept], year[kept], stop[kept]
    label = 100 * route + stop
    if moved is not None:
        label = label + 50 * moved(route, stop, year)
    ones = np.ones(len(route))
    return PeriodColumns(
        route=route,
        stop=label,
        season_year=2011 + year,
        night=365 * (2011 + year),
        visit_number=ones.astype(int),
        call_index=ones,
        heard=ones,
        way=None if way is None else way(route, year).astype(int),
    )


def nights(year):
    return 365 * year


def test_the_same_rules_throughout_are_no_break():
    assert find_breaks(periods(), {}) == Breaks()
    assert find_breaks(periods(way=lambda route, year: route % 3), {}) == Breaks()


def test_a_change_of_rules_is_a_break_from_its_first_season_on():
    assert find_breaks(periods(way=lambda route, year: year >= 5), {}).protocol == (2016,)


@pytest.mark.parametrize(("routes", "found"), [(1, (2016,)), (0, ())])
def test_a_tenth_of_the_surveys_is_enough(routes, found):
    changed = periods(way=lambda route, year: (year >= 5) & (route < routes))
    assert find_breaks(changed, {}).protocol == found


def test_less_than_a_tenth_is_no_break():
    def run(route, year):
        return (route > 0) | (year < 5) | (year > 6)

    whole = periods(way=lambda route, year: (year >= 5) & (route == 0), run=run)
    few = np.ones(len(whole.route), bool)
    few[(whole.route == 0) & (whole.stop % 100 > 0)] = False

    assert find_breaks(take(whole, few), {}).protocol == ()


def test_a_route_that_was_away_changed_with_the_others():
    found = find_breaks(
        periods(
            way=lambda route, year: year >= 4,
            run=lambda route, year: (route > 2) | (year < 3) | (year > 5),
        ),
        {},
    )
    assert found.protocol == (2015,)


def test_new_routes_under_other_rules_are_no_change():
    found = find_breaks(
        periods(
            way=lambda route, year: route >= 5, run=lambda route, year: (route < 5) | (year >= 4)
        ),
        {},
    )
    assert found == Breaks()


def in_use(moved_in, routes):
    """The first stop of some routes lies at a new place from a season on."""
    return {100 * route: (0, nights(moved_in - 1)) for route in routes} | {
        100 * route + 50: (nights(moved_in), None) for route in routes
    }


@pytest.mark.parametrize(("routes", "found"), [(range(4), (2015,)), (range(3), ())])
def test_a_tenth_of_the_stops_is_enough(routes, found):
    """40 stops in all."""
    columns = periods(
        moved=lambda route, stop, year: np.isin(route, list(routes)) & (stop == 0) & (year >= 4)
    )
    assert find_breaks(columns, in_use(2015, routes)).stops == found


def test_a_stop_that_was_not_reached_is_on_the_list_all_the_same():
    columns = periods()
    missed = (columns.season_year == 2018) & (columns.stop % 100 == 3)

    always = {int(stop): (0, None) for stop in np.unique(columns.stop)}
    assert find_breaks(take(columns, ~missed), always) == Breaks()


def test_stops_that_joined_and_left_are_those_counted_one_by_one():
    """Lists drawn at random, on routes that are not run every season."""
    rng = np.random.default_rng(7)
    whole = periods(run=lambda route, year: rng.random(len(route)) < 0.8)
    columns = take(whole, rng.permutation(len(whole.route)))
    begins = nights(rng.integers(2008, 2017, 4000))
    ends = nights(rng.integers(2013, 2022, 4000))
    used = {int(k): (int(begins[k]), int(ends[k])) for k in np.unique(columns.stop)}
    changed, of_all = Counter(), Counter()
    for route in range(ROUTES):
        own = columns.route == route
        seasons = np.unique(columns.season_year[own]).tolist()
        lists = [
            {int(k) for k in columns.stop[own] if used[int(k)][0] <= nights(y) <= used[int(k)][1]}
            for y in seasons
        ]
        for year, now, then in zip(seasons[1:], lists[1:], lists, strict=False):
            changed[year] += max(len(now - then), len(then - now))
            of_all[year] += max(len(now), len(then))
    found = tuple(y for y in sorted(changed) if changed[y] >= 0.1 * max(of_all[y], 1))
    assert 0 < len(found) < len(changed)
    assert find_breaks(columns, used).stops == found


def test_flags_name_what_changed():
    assert Breaks(protocol=(2015,)).flags == (estimates.PROTOCOL_CHANGED,)
    assert Breaks(stops=(2015,)).flags == (estimates.STOPS_CHANGED,)
    both = Breaks(protocol=(2015, 2018), stops=(2015,))
    assert both.years == (2015, 2018)


@pytest.mark.parametrize(
    ("breaks", "kept"),
    [
        ([], range(2011, 2021)),
        ([2014], range(2011, 2021)),
        ([2013], range(2013, 2021)),
        ([2019], range(2011, 2019)),
        ([2014, 2015], [2011, 2012, 2013, *range(2015, 2021)]),
        ([2013, 2015, 2017, 2019], [2019, 2020]),
        ([2011, 2030], range(2011, 2021)),
    ],
    ids=["none", "three", "two before", "two after", "one between", "all short", "outside"],
)
def test_a_side_of_fewer_than_three_seasons_is_left_out(breaks, kept):
    assert told_years(range(2011, 2021), breaks) == tuple(kept)


def test_seasons_without_effort_count_for_no_side():
    assert told_years([2011, 2013, 2014, 2015, 2016], [2014]) == (2014, 2015, 2016)
    assert told_years([], [2014]) == ()


@pytest.mark.parametrize(
    ("years", "breaks", "steps"),
    [
        (range(2011, 2021), [2015], (2015,)),
        (range(2015, 2021), [2015], ()),
        (range(2011, 2015), [2015], ()),
        ([2011, 2012, 2013, 2017, 2018, 2019], [2014, 2017], (2017,)),
    ],
    ids=["between", "all after", "all before", "twice in a gap"],
)
def test_steps_lie_between_the_seasons_told(years, breaks, steps):
    assert steps_within(years, breaks) == steps
