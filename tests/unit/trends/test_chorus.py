"""The trend of the call index: from whole programs, made up."""

import dataclasses

import numpy as np
import pytest

from surveys.trends import estimates
from surveys.trends.community import is_told
from surveys.trends.histories import take
from tests.unit.trends.told_programs import BARE, FIRST, YEARS, analyzed, columns


def with_index(*, slope=-0.25, seed=4, own=None):
    """The program with a latent highest index of each stop and season that falls over the years;
    what is heard on a visit is drawn from no more than it."""
    rng = np.random.default_rng(seed)
    own = columns(p=lambda year: 1.0) if own is None else own
    year = own.season_year - FIRST
    stops = int(own.stop.max()) + 1
    luck = rng.logistic(size=(stops, YEARS))[own.stop, year]
    luck = luck + rng.normal(0, 0.7, 40)[own.route]
    latent = luck + slope * (year - 4.5)
    highest = (latent > -1.5).astype(int) + (latent > -0.5) + (latent > 0.5)
    heard = np.minimum(highest, rng.choice(4, size=len(year), p=[0.1, 0.1, 0.2, 0.6]))
    return dataclasses.replace(own, call_index=heard.astype(float), heard=(heard > 0).astype(float))


@pytest.fixture(scope="module")
def falling():
    return analyzed(with_index()).chorus


def test_fewer_full_choruses_are_told_as_a_fall(falling):
    assert is_told(falling.full_chorus)
    assert falling.full_chorus.high < 0
    assert falling.index_odds.high < 0
    # The odds move by the slope of the latent scale, between routes a little less.
    assert falling.index_odds.low < 100 * np.expm1(-0.25) < falling.index_odds.high


def test_full_chorus_is_a_second_number_and_not_that_of_occupancy(falling):
    own = with_index()
    loud = dataclasses.replace(own, call_index=np.where(own.heard > 0, 3.0, 0.0))
    assert analyzed(loud).trend.occupancy == analyzed(own).trend.occupancy
    assert analyzed(loud).chorus.full_chorus.value != falling.full_chorus.value


def test_full_chorus_that_goes_its_own_way_is_not_told():
    """The odds of any call stay, and those of full chorus fall: the ordered model has one change
    for both, and would tell neither right."""
    own = with_index(slope=0.0)
    year = own.season_year - FIRST
    spared = np.random.default_rng(1).random((int(own.stop.max()) + 1, YEARS))[own.stop, year]
    fewer = (own.call_index == 3) & (spared < 0.1 * year)
    chorus = analyzed(dataclasses.replace(own, call_index=np.where(fewer, 2.0, own.call_index)))
    assert estimates.STEPS_DIFFER in chorus.chorus.full_chorus.flags
    assert not is_told(chorus.chorus.full_chorus)
    assert estimates.STEPS_DIFFER not in analyzed(own).chorus.full_chorus.flags


def test_only_by_stop_and_where_it_is_asked_for():
    assert analyzed(with_index(), site="route").chorus is None
    parts = dataclasses.replace(BARE, chorus=False)
    assert analyzed(with_index(), parts=parts).chorus is None


def test_a_species_without_full_chorus_has_none():
    own = with_index()
    quiet = dataclasses.replace(own, call_index=np.minimum(own.call_index, 2.0))
    chorus = analyzed(quiet).chorus
    assert chorus.full_chorus.value is None
    assert {estimates.INDEX_NEVER_HEARD, estimates.TOO_FEW_DATA} <= set(chorus.full_chorus.flags)


def test_too_few_full_choruses_are_told_as_such():
    own = with_index()
    rare = (own.call_index == 3) & (own.stop % 8 > 0)
    few = dataclasses.replace(own, call_index=np.where(rare, 2.0, own.call_index))
    chorus = analyzed(few).chorus
    assert estimates.TOO_FEW_DATA in chorus.full_chorus.flags
    assert chorus.full_chorus.value is None


def test_calls_without_an_index_are_said():
    own = with_index()
    unknown = np.where((own.heard > 0) & (own.stop == 0), np.nan, own.call_index)
    chorus = analyzed(dataclasses.replace(own, call_index=unknown)).chorus
    assert estimates.INDEX_UNKNOWN in chorus.full_chorus.flags


def test_a_break_is_a_step_and_the_open_season_is_left_out(falling):
    own = with_index()
    way = (own.season_year >= FIRST + 5).astype(np.int64)
    stepped = analyzed(dataclasses.replace(own, way=way)).chorus.full_chorus
    assert estimates.PROTOCOL_CHANGED in stepped.flags
    assert stepped.high - stepped.low > 1.3 * (falling.full_chorus.high - falling.full_chorus.low)
    ended = analyzed(take(own, own.season_year < FIRST + 9)).chorus.full_chorus
    open_last = analyzed(own, open_year=FIRST + 9).chorus.full_chorus
    assert open_last.value == pytest.approx(ended.value)


def test_single_visits_say_nothing_of_it():
    own = with_index()
    chorus = analyzed(take(own, own.visit_number == 1)).chorus
    assert chorus.full_chorus.value is None
    assert estimates.NOT_IDENTIFIED in chorus.full_chorus.flags
