"""Calling nights and their shift, with seasons across New Year and uneven effort."""

import numpy as np
import pytest
from scipy.stats import t as student_t

from surveys.trends import estimates
from surveys.trends.models.phenology import calling_nights
from surveys.trends.models.phenology_shift import shift_of_season

NAN = float("nan")


def nights(days, heard, routes=None, **more):
    days = np.array(days)
    routes = np.arange(len(days)) if routes is None else routes
    (found,) = calling_nights(days, heard, np.full(len(days), 2024), routes, seed=1, **more)
    return found


class TestFirstAndLast:
    def test_values_are_the_nights_heard(self):
        found = nights([10, 20, 30, 40, 50], [0, 1, 1, 1, 0])
        assert (found.first.value, found.last.value) == (20.0, 40.0)

    def test_first_may_be_earlier_as_far_as_silence_allows(self):
        # 20 visits hold all 20 detections: beyond = 20 (0.05^(-1/19) - 1) = 3.4 silent visits.
        days = [0, 4, 6, 8, 9, 10, *range(20, 40)]
        found = nights(days, [0] * 6 + [1] * 20)
        assert found.first.value == 20.0
        assert found.first.low == 7.0
        assert found.first.high == 20.0

    def test_last_mirrors_first(self):
        days = np.array([0, 4, 6, 8, 9, 10, *range(20, 40)])
        heard = [0] * 6 + [1] * 20
        found, mirrored = nights(days, heard), nights(100 - days, heard)
        assert mirrored.last.value == mirrored.last.low == 100 - found.first.value
        assert mirrored.last.high == 100 - found.first.low

    # Beyond the first call: 10 ((1 - level)^(-1/9) - 1) visits of 10 that all heard it.
    @pytest.mark.parametrize(("level", "beyond"), [(0.5, 1), (0.95, 4), (0.99, 7)])
    def test_the_limit_follows_the_level(self, level, beyond):
        found = nights([*range(10), *range(10, 20)], [0] * 10 + [1] * 10, level=level)
        assert found.first.low == 10 - beyond + 1
        assert {found.first.level, found.median.level, found.last.level} == {level}

    def test_heard_on_the_first_night_listened_has_no_lower_limit(self):
        found = nights([10, 20, 30], [1, 1, 1])
        assert found.first.low is None
        assert {estimates.ONE_SIDED, estimates.HEARD_AT_FIRST_EFFORT} <= set(found.first.flags)
        assert estimates.HEARD_AT_LAST_EFFORT in found.last.flags

    def test_one_detection_has_no_limit(self):
        found = nights([10, 20, 30], [0, 1, 0])
        assert (found.first.low, found.last.high) == (None, None)
        assert estimates.TOO_FEW_DATA in found.first.flags

    def test_stops_of_one_visit_count_once(self):
        days = [0, 4, 6, 8, *range(20, 30)]
        once = nights(days, [0] * 4 + [1] * 10)
        routes = np.repeat(np.arange(14), 10)
        stops = nights(np.repeat(days, 10), np.repeat([0] * 4 + [1] * 10, 10), routes)
        assert stops.first.low == once.first.low

    def test_limit_holds_the_true_start(self):
        rng, held = np.random.default_rng(2), 0
        for _ in range(200):
            days = rng.integers(0, 100, 80)
            calling = (days >= 30) & (days < 75)
            first = nights(days, calling & (rng.random(80) < 0.5), replicates=1).first
            held += first.low is None or first.low <= 30
        # 190 of 200 expected; 4 binomial standard errors are 12.
        assert held >= 178


class TestMedian:
    def test_equal_effort(self):
        days = np.repeat(np.arange(0, 60, 2), 4)
        heard = (days >= 20) & (days <= 40)
        routes = np.tile(np.arange(4), 30)
        assert nights(days, heard, routes).median.value == pytest.approx(30.0, abs=0.6)

    def test_listening_more_on_some_nights_does_not_move_it(self):
        base = np.arange(0, 60, 2)
        rng = np.random.default_rng(3)
        curve = np.exp(-0.5 * ((base - 30) / 8) ** 2)
        effort = np.where(base < 28, 60, 10)
        days = np.repeat(base, effort)
        heard = rng.random(len(days)) < np.repeat(curve, effort)
        found = nights(days, heard, rng.integers(0, 30, len(days)))
        naive = np.median(days[heard])
        assert abs(found.median.value - 30) < 1.5 < abs(naive - 30)
        assert found.median.low < 30 < found.median.high

    def test_same_seed_same_interval(self):
        days, heard = [0, 5, 10, 15, 20, 25], [0, 1, 1, 1, 1, 0]
        assert nights(days, heard).median == nights(days, heard).median

    def test_one_route_has_no_interval(self):
        found = nights([0, 5, 10, 15, 20, 25], [0, 1, 1, 1, 1, 0], np.zeros(6))
        assert found.median.low is None
        assert found.median.interval == "none"
        assert found.median.flags == (estimates.TOO_FEW_DATA, estimates.FEW_CLUSTERS)

    def test_limits_are_quantiles_of_samples_of_the_routes(self):
        """Two routes that disagree: of every four samples one holds the first route twice, one
        the second twice, and two hold both. With both, half of the calling lies behind on day 15,
        where the night of day 10 ends."""
        days, routes = np.repeat([0, 10, 20, 30, 40], 2), np.tile([0, 1], 5)
        heard = ((days <= 10) & (routes == 0)) | ((days >= 30) & (routes == 1))
        found = nights(days, heard, routes, level=0.4)
        alone = [nights(days[routes == r], heard[routes == r]).median.value for r in (0, 1)]
        assert found.median.low == found.median.high == found.median.value == 15.0
        wide = nights(days, heard, routes, level=0.95)
        assert (wide.median.low, wide.median.high) == tuple(alone)


class TestNothingHeard:
    def test_silent_season(self):
        found = nights([10, 20], [0, 0])
        for estimate in (found.first, found.median, found.last):
            assert estimate.value is None
            assert estimates.NEVER_HEARD in estimate.flags
            assert estimate.level == 0.95

    @pytest.mark.parametrize("heard", [[0, 0], [NAN, NAN]])
    def test_the_level_that_was_asked_for_is_kept(self, heard):
        found = nights([10, 20], heard, level=0.8)
        assert {found.first.level, found.median.level, found.last.level} == {0.8}

    def test_season_without_listening(self):
        found = nights([10, 20], [NAN, NAN])
        assert estimates.NO_EFFORT in found.median.flags

    def test_no_seasons(self):
        assert calling_nights(np.zeros(0, int), [], [], [], seed=1) == ()


@pytest.mark.parametrize("heard", [[0, 1, 1, 1, 0], [0, 0, 0, 0, 0]], ids=["heard", "silent"])
def test_what_the_nights_are_called_and_how_they_were_found(heard):
    found = nights([10, 20, 30, 40, 50], heard, replicates=30)
    ends = "end-of-range"
    middle = "median-night"
    silent = None if any(heard) else "none"
    assert [
        (night.name, night.interval, night.method)
        for night in (found.first, found.median, found.last)
    ] == [
        ("first calling night 2024", silent or "silent-visits", ends),
        (
            "median calling night 2024",
            silent or "route-bootstrap:30",
            middle,
        ),
        ("last calling night 2024", silent or "silent-visits", ends),
    ]


def test_days_are_whole():
    with pytest.raises(ValueError, match="whole days"):
        calling_nights([1.5], [1], [2024], [1], seed=1)


def seasons(rng, *, move, years=10, routes=20, effort_moves=0.0):
    """Listening periods whose calling peaks on day 60 + move * year."""
    day, heard, year, route = [], [], [], []
    for season in range(years):
        days = rng.normal(60 + effort_moves * season, 20, (routes, 6)).round().astype(int)
        chance = 0.8 * np.exp(-0.5 * ((days - 60 - move * season) / 12) ** 2)
        day.append(days.ravel())
        heard.append((rng.random(days.shape) < chance).ravel())
        year.append(np.full(days.size, 2001 + season))
        route.append(np.repeat(np.arange(routes), 6))
    return tuple(np.concatenate(part) for part in (day, heard, year, route))


class TestShift:
    @pytest.mark.parametrize("move", [-0.8, 0.0, 0.8])
    def test_is_recovered(self, move):
        shift = shift_of_season(*seasons(np.random.default_rng(4), move=move), level=0.99)
        assert shift.low < 10 * move < shift.high
        assert shift.flags == ()

    def test_earlier_listening_is_not_earlier_calling(self):
        data = seasons(np.random.default_rng(5), move=0.0, effort_moves=-4.0)
        day, heard, year, _ = data
        medians = [np.median(day[(year == y) & heard]) for y in np.unique(year)]
        naive = 10 * np.polyfit(np.unique(year), medians, 1)[0]
        shift = shift_of_season(*data)
        assert naive < -4.0
        assert shift.low < 0 < shift.high

    def test_silent_seasons_are_left_out(self):
        day, heard, year, route = seasons(np.random.default_rng(6), move=0.5)
        quiet = np.where(year == 2003, 0, heard)
        assert shift_of_season(day, quiet, year, route).value is not None

    def test_few_seasons_and_routes_are_flagged(self):
        data = seasons(np.random.default_rng(7), move=0.0, years=3, routes=8)
        assert {estimates.TOO_FEW_DATA, estimates.FEW_CLUSTERS} <= set(shift_of_season(*data).flags)

    def test_two_seasons_have_a_shift_and_it_is_flagged(self):
        shift = shift_of_season(*seasons(np.random.default_rng(7), move=2.0, years=2))
        assert shift.low < 20 < shift.high
        assert shift.flags == (estimates.TOO_FEW_DATA,)

    def test_one_season_has_no_shift(self):
        data = seasons(np.random.default_rng(8), move=0.0, years=1)
        shift = shift_of_season(*data)
        assert shift.value is None
        assert estimates.NOT_IDENTIFIED in shift.flags

    def test_one_route_has_no_interval_and_no_value(self):
        day, heard, year, route = seasons(np.random.default_rng(9), move=0.0)
        shift = shift_of_season(day, heard, year, np.zeros_like(route))
        assert shift.value is None
        assert estimates.FEW_CLUSTERS in shift.flags

    def test_routes_that_are_all_alike_say_nothing_of_the_spread(self):
        day, heard, year, _ = seasons(np.random.default_rng(9), move=0.0)
        alike = np.repeat([0, 1], len(day))
        shift = shift_of_season(np.tile(day, 2), np.tile(heard, 2), np.tile(year, 2), alike)
        assert shift.value is None
        assert {estimates.TOO_FEW_DATA, estimates.FEW_CLUSTERS} <= set(shift.flags)

    def test_calling_without_a_peak(self):
        day, heard, year, route = seasons(np.random.default_rng(10), move=0.0)
        flat = np.random.default_rng(11).random(len(heard)) < 0.5
        shift = shift_of_season(day, flat, year, route)
        assert shift.value is None
        assert estimates.NO_CLEAR_SEASON in shift.flags

    def test_one_day_only(self):
        _, heard, year, route = seasons(np.random.default_rng(12), move=0.0)
        shift = shift_of_season(np.full(len(heard), 60), heard, year, route)
        assert shift.value is None
        assert estimates.NOT_IDENTIFIED in shift.flags

    def test_the_interval_follows_the_level(self):
        data = seasons(np.random.default_rng(4), move=0.4)
        by_level = {level: shift_of_season(*data, level=level) for level in (0.5, 0.95)}
        for level, shift in by_level.items():
            # t with 19 degrees of freedom for 20 routes.
            half = student_t.ppf(0.5 + level / 2, 19) * shift.se
            assert (shift.low, shift.high) == pytest.approx(
                (shift.value - half, shift.value + half)
            )
            assert shift.level == level
        assert by_level[0.5].value == by_level[0.95].value

    @pytest.mark.parametrize(
        "change",
        [
            lambda day, heard, year, route: (day, heard, year * 0 + 2001, route),
            lambda day, heard, year, route: (day, heard, year, route * 0),
            lambda day, heard, year, route: (day * 0, heard, year, route),
            lambda day, heard, year, route: (day, np.arange(len(day)) % 2, year, route),
            lambda day, heard, year, route: (
                *np.tile((day, heard, year), 2),
                np.repeat([0, 1], len(day)),
            ),
        ],
        ids=["one season", "one route", "one day", "no peak", "alike routes"],
    )
    def test_the_level_is_kept_without_a_value(self, change):
        data = change(*seasons(np.random.default_rng(9), move=0.0))
        shift = shift_of_season(*data, level=0.8)
        assert (shift.value, shift.level) == (None, 0.8)

    def test_lengths_must_agree(self):
        with pytest.raises(ValueError, match="differ"):
            shift_of_season([1, 2], [1], [1], [1])


def test_as_many_calls_on_either_night_show_no_peak():
    """A curve without any bend, of which nothing varies between routes."""
    years = np.repeat([2022, 2023, 2024], 16)
    days = np.tile(np.repeat([91, 121], 4), 6) + (years == 2024)
    heard = np.tile([1.0, 1.0, 0.0, 0.0, 0.0, 1.0, 1.0, 0.0], 6)
    routes = np.tile(np.repeat(["A", "B"], 8), 3)
    shift = shift_of_season(days, heard, years, routes)
    assert shift.value is None
    assert {estimates.NO_CLEAR_SEASON, estimates.NOT_IDENTIFIED} <= set(shift.flags)
