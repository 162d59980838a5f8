"""Which seasons the told trend rests on, and what it is flagged with."""

import dataclasses

import numpy as np
import pytest

from surveys.trends import estimates
from surveys.trends.community import is_told
from surveys.trends.histories import take
from tests.unit.trends.told_programs import (
    BARE,
    FIRST,
    STOPS,
    YEARS,
    analyzed,
    changed,
    columns,
)


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


def test_routes_chosen_where_the_species_was_heard_are_flagged(plain):
    chosen = analyzed(plain, chosen={0: "heard", 1: "random"}).trend.occupancy
    assert estimates.CHOSEN_WHERE_HEARD in chosen.flags
    others = analyzed(plain, chosen={0: "habitat", 1: "random"}).trend.occupancy
    assert estimates.CHOSEN_WHERE_HEARD not in others.flags


def test_where_the_model_fits_poorly_nothing_is_told_and_single_seasons_are_wider(plain):
    """Half of the stops are nearly always heard where the species is, half seldom. The interval of
    a season is wider, that of the trend is not: it comes from how routes differ."""
    rng = np.random.default_rng(8)
    _, row = np.unique(
        np.column_stack([plain.stop, plain.season_year]), axis=0, return_inverse=True
    )
    luck = rng.random(row.max() + 1)[row.ravel()]
    heard = (luck < 0.8) & (rng.random(len(luck)) < np.where(luck < 0.5, 0.95, 0.25))
    own = dataclasses.replace(plain, heard=heard * 1.0, call_index=heard * 1.0)
    checked = analyzed(own, parts=dataclasses.replace(BARE, fit_check=True))
    unchecked = analyzed(own)
    assert estimates.POOR_FIT in checked.trend.occupancy.flags
    assert not is_told(checked.trend.occupancy)
    assert checked.fit_check.c_hat.value > 2
    for wide, plain_year in zip(checked.years, unchecked.years, strict=True):
        spans = [year.occupancy.high - year.occupancy.low for year in (wide, plain_year)]
        assert spans[0] > 1.5 * spans[1]
    assert checked.trend.occupancy.low == unchecked.trend.occupancy.low


def test_sizes_count_stops_and_not_their_seasons(plain):
    """Nine stops on nine routes, each heard in every season: 90 seasons of a stop, and too few. A
    tenth stop is enough. By route the nine are routes, and eight of these are."""

    def heard_at(route):
        own = dataclasses.replace(plain, heard=plain.heard.copy(), call_index=plain.heard.copy())
        quiet = (plain.stop % STOPS > 0) | (plain.route >= route)
        own.heard[quiet] = own.call_index[quiet] = 0
        return own

    heard_first = np.unique(plain.route[(plain.heard > 0) & (plain.stop % STOPS == 0)])
    nine, ten = heard_at(heard_first[8] + 1), heard_at(heard_first[9] + 1)
    few = analyzed(nine).trend.occupancy
    assert (few.value, estimates.TOO_FEW_DATA in few.flags) == (None, True)
    assert estimates.TOO_FEW_DATA not in analyzed(ten).trend.occupancy.flags
    assert estimates.TOO_FEW_DATA not in analyzed(nine, site="route").trend.occupancy.flags


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
