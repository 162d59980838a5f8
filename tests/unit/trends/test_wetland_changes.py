"""What changes of wetlands did, against stops where nothing was done."""

from dataclasses import replace

import numpy as np
import pytest

from surveys.trends.analysis import Parts, analyze
from surveys.trends.estimates import TOO_FEW_DATA
from surveys.trends.histories import PeriodColumns
from surveys.trends.periods import SpeciesPeriods
from surveys.trends.wetland_changes import change_effects

ROUTES, STOPS, YEARS, VISITS = 20, 10, 8, 3
FIRST = 2015


def surveyed(rng, *, changed_routes=8, changed_each=3, effect=0.0, years=0.4, detection=0.5):
    """A species at stops alike within a route, over good and bad years, some wetlands burned
    before the fourth, fifth or sixth season."""
    stop, year, visit = (axis.ravel() for axis in np.indices((ROUTES * STOPS, YEARS, VISITS)))
    route = stop // STOPS
    level = rng.normal(0, 0.8, ROUTES)[:, None] + rng.normal(0, 0.7, (ROUTES, STOPS))
    burned, done = {}, np.zeros((ROUTES * STOPS, YEARS), dtype=bool)
    for one in rng.choice(ROUTES, changed_routes, replace=False):
        for number in rng.choice(STOPS, changed_each, replace=False):
            at, season = int(one) * STOPS + int(number), int(rng.integers(3, 6))
            burned[at] = night_of(season)
            done[at, season:] = True
    eta = level.ravel()[:, None] + rng.normal(0, years, YEARS) + effect * done
    there = rng.random(eta.shape) < 1 / (1 + np.exp(-eta))
    heard = (there[stop, year] & (rng.random(len(stop)) < detection)).astype(float)
    columns = PeriodColumns(
        route=route, stop=stop, season_year=FIRST + year, night=night_of(year) + 100 + 20 * visit,
        visit_number=visit + 1, call_index=heard, heard=heard,
    )  # fmt: skip
    return SpeciesPeriods(
        columns=columns, day=20 * visit, in_season=np.ones(len(stop), dtype=bool), stops={},
        changes={"burned": burned},
    )  # fmt: skip


def night_of(season):
    """The first day of a season."""
    return 365 * (FIRST + season)


def effect_of(periods):
    (effect,) = change_effects(periods)
    return effect


@pytest.fixture(scope="module")
def halved():
    return surveyed(np.random.default_rng(3), effect=-2.0)


def test_an_effect_is_found_and_counted(halved):
    effect = effect_of(halved)
    assert (effect.kind, effect.stops, effect.routes) == ("burned", 24, 8)
    assert (effect.unchanged, effect.unchanged_routes) == (176, 20)
    assert effect.odds.low < np.exp(-2.0) < effect.odds.high < 1


def test_what_good_and_bad_years_do_is_taken_off():
    """The species is lost nearly everywhere from the fifth season on, burned or not."""
    rng = np.random.default_rng(5)
    periods = surveyed(rng, years=0.0)
    columns = periods.columns
    lost = (columns.season_year >= FIRST + 4) & (columns.stop % 3 > 0)
    heard = np.where(lost, 0.0, columns.heard)
    effect = effect_of(replace(periods, columns=replace(columns, heard=heard, call_index=heard)))
    before, after, then_before, then_after = (share.heard.value for share in effect.shares)
    assert after < 0.7 * before
    assert then_after < 0.7 * then_before
    assert effect.odds.low < 1 < effect.odds.high


def test_stops_with_another_change_are_left_out(halved):
    fish = {stop: night_of(4) for stop in range(60)}
    effects = list(change_effects(replace(halved, changes={**halved.changes, "fish_came": fish})))
    assert [effect.kind for effect in effects] == ["burned", "fish_came"]
    burned = {stop for stop in halved.changes["burned"] if stop >= 60}
    assert effects[0].stops == len(burned)
    assert effects[0].unchanged == 140 - len(burned)


def test_the_season_of_the_change_is_left_out_and_both_sides_are_needed(halved):
    """A fire after the first visit of a season, and one before the first season of all."""
    (stop, *_) = halved.changes["burned"]
    whole = effect_of(halved)
    within = effect_of(replace(halved, changes={"burned": {stop: night_of(4) + 110}}))
    assert [share.sites for share in within.shares[:2]] == [4, 3]
    never_before = {**halved.changes["burned"], stop: night_of(0)}
    effect = effect_of(replace(halved, changes={"burned": never_before}))
    assert effect.stops == whole.stops - 1


def test_few_changed_stops_have_shares_and_no_odds():
    effect = effect_of(surveyed(np.random.default_rng(1), changed_routes=3))
    assert (effect.odds.value, effect.odds.flags) == (None, (TOO_FEW_DATA,))
    assert [share.sites > 0 for share in effect.shares] == [True] * 4


def test_a_species_listed_after_its_season_has_no_sites_and_no_error(halved):
    """As a joint entry does that a checklist got in the fall."""
    nowhere = np.zeros(len(halved.in_season), dtype=bool)
    effect = effect_of(replace(halved, in_season=nowhere))
    assert (effect.stops, effect.unchanged, effect.odds.flags) == (0, 0, (TOO_FEW_DATA,))
    assert [share.sites for share in effect.shares] == [0, 0, 0, 0]
    # Nor does anything else that is worked out of the species, with stops that came into use.
    used = {int(stop): (0, None) for stop in halved.columns.stop}
    unheard = replace(halved, in_season=nowhere, in_use=used)
    result = analyze("Rana nova", unheard, site="stop", parts=Parts())
    assert [effect.odds.flags for effect in result.changes] == [(TOO_FEW_DATA,)]


def test_without_changes_there_is_nothing(halved):
    assert list(change_effects(replace(halved, changes={}))) == []
