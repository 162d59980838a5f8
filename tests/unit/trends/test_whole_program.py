"""What is told of a whole program, its regions by their weights."""

import dataclasses

import numpy as np
import pytest

from surveys.trends import estimates, whole_program
from surveys.trends.community import is_told
from surveys.trends.histories import take
from surveys.trends.sensitivity import ALL_DATA
from surveys.trends.whole_program import ALIKE, WEIGHTED
from tests.unit.trends.told_programs import BARE, FIRST, PARTS, analyzed, columns

WEIGHTS = {"North": 1.0, "South": 3.0}


def regions(own, *, north=6):
    return np.where(own.route < north, "North", "South").astype(np.str_)


def told(own=None, *, weights=WEIGHTS, parts=BARE, region=None, **more):
    own = columns() if own is None else own
    region = regions(own) if region is None else region
    return analyzed(own, parts=parts, region=region, weights=weights, **more)


@pytest.fixture(scope="module")
def whole():
    return told(parts=PARTS)


def test_without_weights_nothing_is_told_of_the_whole():
    assert told(weights={}).whole is None


def test_shares_lie_between_those_of_the_regions_nearer_to_the_heavier(whole):
    own = columns()
    north, south = (
        analyzed(take(own, regions(own) == region)).trend.line for region in ("North", "South")
    )
    heavy = told(weights={"North": 1.0, "South": 1000.0}).whole
    assert len(whole.whole.shares) == 10
    assert is_told(whole.whole.change)
    for (year, share), (_, alone), (_, a), (_, b) in zip(
        whole.whole.shares, heavy.shares, north, south, strict=True
    ):
        assert share.low < share.value < share.high, year
        assert abs(alone.value - b.value) < 0.35
        assert min(a.low, b.low) < share.value < max(a.high, b.high)


def test_a_region_of_weight_0_is_left_out():
    only = told(weights={"North": 0.0, "South": 1.0}).whole
    south = told(weights={"North": 1e-9, "South": 1.0}).whole
    assert only.change.value == pytest.approx(south.change.value, rel=1e-5)
    assert only.change.low < south.change.low + 1e-6


def test_the_table_of_other_choices_has_the_weights_and_equal_ones(whole):
    lines = {line.name: line.change for line in whole.sensitivity}
    assert lines[WEIGHTED].value == whole.whole.change.value
    equal = told(weights={"North": 2.0, "South": 2.0}).whole.change
    assert lines[ALIKE].value == pytest.approx(equal.value)
    assert lines[ALIKE].value != lines[WEIGHTED].value
    assert ALL_DATA in lines
    assert not {WEIGHTED, ALIKE} & {line.name for line in told(weights={}, parts=PARTS).sensitivity}


@pytest.mark.parametrize(
    ("weights", "why"),
    [
        ({"North": 1.0}, estimates.REGION_NOT_WEIGHTED),
        ({**WEIGHTS, "West": 1.0}, estimates.REGION_NOT_SURVEYED),
    ],
)
def test_a_region_without_a_weight_or_a_survey_refuses_the_whole(weights, why):
    change = told(weights=weights).whole.change
    assert (change.value, change.low, change.high) == (None, None, None)
    assert change.flags == (why,)


def test_a_region_of_weight_0_need_not_be_surveyed():
    assert told(weights={**WEIGHTS, "West": 0.0}).whole.change.value is not None


def test_routes_in_no_region_refuse_the_whole():
    own = columns()
    region = np.where(own.route == 0, "", regions(own)).astype(np.str_)
    assert told(own, region=region).whole.change.flags == (estimates.REGION_NOT_WEIGHTED,)


def test_three_routes_do_not_speak_for_a_region():
    own = columns()
    assert told(own, region=regions(own, north=4)).whole.change.value is not None
    few = told(own, region=regions(own, north=3)).whole
    assert few.change.value is None
    assert estimates.REGION_FEW_ROUTES in few.change.flags
    assert few.shares == ()


def test_a_region_where_it_was_never_heard_counts_as_empty():
    own = columns()
    silent = np.where(own.route < 6, 0.0, own.heard)
    result = told(dataclasses.replace(own, heard=silent, call_index=silent))
    alone = analyzed(take(own, own.route >= 6), region=None)
    assert estimates.REGION_SILENT in result.whole.change.flags
    shares = dict(result.whole.shares)
    south = {year.season_year: year.occupancy.value for year in alone.years}
    # Three quarters of the weight lie where it calls; the yearly models differ a little.
    for year, share in shares.items():
        assert share.value == pytest.approx(0.75 * south[year], abs=0.06)


def test_what_a_silent_region_may_hold_widens_change_and_shares(monkeypatch):
    """The species may have left it or come to it: both ends of the change move."""
    own = columns()
    silent = np.where(own.route < 6, 0.0, own.heard)
    silent = dataclasses.replace(own, heard=silent, call_index=silent)
    whole = told(silent).whole
    monkeypatch.setattr(
        whole_program, "with_missed", lambda regions: tuple(one.stratum for one in regions)
    )
    blind = told(silent).whole
    assert whole.change.value == blind.change.value
    assert whole.change.low < blind.change.low - 0.1
    assert whole.change.high > blind.change.high + 0.1
    for (year, share), (_, without) in zip(whole.shares, blind.shares, strict=True):
        assert (share.value, share.low) == (without.value, without.low), year
        # 24 stops of 6 routes in a quarter of the weight: 3 / 24 if all are apart, at most all.
        assert 0.25 * 2.9 / 24 < share.high - without.high < 0.25, year


def test_never_heard_anywhere_is_said():
    own = columns()
    change = told(dataclasses.replace(own, heard=own.heard * 0, call_index=own.heard * 0))
    assert estimates.NEVER_HEARD in change.whole.change.flags


def test_a_region_without_repeat_visits_refuses_the_whole():
    own = columns()
    once = take(own, (own.route >= 6) | (own.visit_number == 1))
    change = told(once).whole.change
    assert change.value is None
    assert estimates.REGION_UNKNOWN in change.flags


def test_seasons_without_every_region_are_left_out_and_said():
    own = columns()
    some = take(own, (own.route >= 6) | (own.season_year > FIRST + 1))
    whole = told(some).whole
    assert [year for year, _ in whole.shares] == list(range(FIRST + 2, FIRST + 10))
    assert estimates.REGION_GAPS in whole.change.flags
    assert whole.change.value is not None
    few = take(own, (own.route >= 6) | (own.season_year > FIRST + 5))
    change = told(few).whole.change
    assert change.value is None
    assert estimates.TOO_FEW_DATA in change.flags


def test_a_break_in_one_region_is_a_step_of_the_whole():
    own = columns()
    way = ((own.route < 6) & (own.season_year >= FIRST + 5)).astype(np.int64)
    heard = np.where((way == 1) & (own.visit_number > 1), 0.0, own.heard)
    broken = dataclasses.replace(own, way=way, heard=heard, call_index=heard)
    stepped = told(broken).whole.change
    blind = told(dataclasses.replace(broken, way=way * 0)).whole.change
    assert stepped.high - stepped.low > 1.3 * (blind.high - blind.low)


def test_the_open_season_is_not_in_it():
    whole = told(open_year=FIRST + 9).whole
    assert [year for year, _ in whole.shares][-1] == FIRST + 8


def test_by_route_ten_seasons_heard_take_the_place_of_ten_stops():
    assert told(site="route").whole.change.value is not None
