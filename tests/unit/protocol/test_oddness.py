"""What stands out in a visit beside the earlier visits of its route."""

import datetime as dt

import pytest

from surveys.protocol.oddness import (
    HIGHEST_SCORE,
    WEIGHTS,
    Night,
    Oddity,
    Reason,
    reasons,
    score,
)

PEEPER, TOAD = "peeper", "toad"


def night(day, heard, *, observer=1):
    return Night(night=dt.date.fromisoformat(day), observer=observer, heard=heard)


def springs(heard, years=range(2019, 2023), day="04-15"):
    return [night(f"{year}-{day}", heard) for year in years]


def told(visit, others, **more):
    return {(one.oddity, one.species): one for one in reasons(visit, others, **more)}


TONIGHT = night("2024-04-15", {1: {PEEPER: 1}, 2: {PEEPER: 3, TOAD: 2}})


@pytest.mark.parametrize(("earlier", "is_told"), [(2, False), (3, True)])
def test_first_record_on_the_route_needs_three_earlier_visits(earlier, is_told):
    others = springs({1: {PEEPER: 1}, 2: {PEEPER: 3}}, range(2020, 2020 + earlier))
    found = told(TONIGHT, others)
    assert ((Oddity.FIRST_ON_ROUTE, TOAD) in found) is is_told
    assert (Oddity.FIRST_ON_ROUTE, PEEPER) not in found


def test_record_that_is_not_sure_is_neither_first_nor_a_jump_and_makes_later_ones_no_first():
    unsure = night("2024-04-15", {1: {}, 2: {TOAD: None}})
    silent = springs({1: {}, 2: {}})
    assert reasons(unsure, silent) == ()
    sure = night("2024-05-15", {1: {}, 2: {TOAD: 1}})
    assert reasons(sure, [*silent, unsure]) == ()


def test_later_visits_are_not_compared_with():
    assert reasons(TONIGHT, springs({1: {PEEPER: 1}, 2: {}}, range(2025, 2029))) == ()


@pytest.mark.parametrize(("before", "is_told"), [(0, True), (1, True), (2, False)])
def test_index_jumps_by_two_at_its_stop(before, is_told):
    at_two = {PEEPER: before} if before else {}
    found = told(TONIGHT, springs({1: {PEEPER: 1}, 2: at_two}))
    jump = found.get((Oddity.INDEX_JUMP, PEEPER))
    assert (jump is not None) is is_told
    if jump:
        assert (jump.stops, jump.index, jump.before) == ((2,), 3, before)


def test_jump_needs_three_earlier_visits_of_the_very_stop():
    others = [*springs({1: {PEEPER: 1}}, range(2019, 2022)), *springs({2: {PEEPER: 1}}, (2022,))]
    assert (Oddity.INDEX_JUMP, PEEPER) not in told(TONIGHT, others)


@pytest.mark.parametrize(
    ("day", "heard_in", "is_told"),
    [
        ("04-15", 4, True),
        ("04-15", 3, True),
        ("04-15", 2, False),
        ("04-30", 4, True),
        ("05-01", 4, False),
    ],
)
def test_silence_where_three_of_four_visits_at_this_time_heard_it(day, heard_in, is_told):
    others = [
        *springs({1: {TOAD: 2}}, range(2019, 2019 + heard_in), day),
        *springs({1: {}}, range(2019 + heard_in, 2023), day),
    ]
    found = told(night("2024-04-15", {1: {}}), others)
    assert ((Oddity.UNLIKE_STOP, TOAD) in found) is is_told


def test_time_of_the_year_goes_over_new_year():
    others = springs({1: {TOAD: 2}}, day="12-28")
    assert told(night("2024-01-05", {1: {}}), others)
    assert not told(night("2024-01-20", {1: {}}), others)


def test_stop_that_was_not_listened_to_is_not_silent():
    assert reasons(night("2024-04-15", {2: {}}), springs({1: {TOAD: 2}, 2: {}})) == ()


@pytest.mark.parametrize(
    ("theirs", "is_told"),
    [({TOAD: 1}, True), ({PEEPER: 1}, True), ({PEEPER: 3}, False), ({PEEPER: 2}, False),
     ({PEEPER: None}, False), ({}, True)],
)  # fmt: skip
def test_second_observer_of_the_night(theirs, is_told):
    ours = night("2024-04-15", {1: {PEEPER: 3}})
    found = reasons(ours, [night("2024-04-15", {1: theirs}, observer=2)])
    assert (Oddity.UNLIKE_SECOND_OBSERVER in {one.oddity for one in found}) is is_told


def test_the_same_observer_and_other_nights_are_no_second_observer():
    ours = night("2024-04-15", {1: {PEEPER: 3}})
    assert reasons(ours, [night("2024-04-15", {1: {}})]) == ()
    assert reasons(ours, [night("2024-04-14", {1: {}}, observer=2)]) == ()


def test_stops_of_a_species_are_one_reason_and_weightier_ones_come_first():
    visit = night("2024-04-15", {2: {TOAD: 1}, 1: {TOAD: 2}, 3: {}})
    found = reasons(
        visit, springs({1: {}, 2: {}, 3: {PEEPER: 1}}), out_of_season=[(1, TOAD), (2, TOAD)]
    )
    assert found == (
        Reason(oddity=Oddity.FIRST_ON_ROUTE, species=TOAD, stops=(1, 2), index=2),
        Reason(oddity=Oddity.OUT_OF_SEASON, species=TOAD, stops=(1, 2), index=2),
        Reason(oddity=Oddity.UNLIKE_STOP, species=PEEPER, stops=(3,), index=0, before=1),
    )
    assert score(found) == 4 + 4 + 1


def test_score_is_bounded_and_every_oddity_weighs():
    assert score(()) == 0
    many = [Reason(oddity=Oddity.FIRST_ON_ROUTE, species=str(n), stops=(1,)) for n in range(90)]
    assert score(many) == HIGHEST_SCORE
    assert set(WEIGHTS) == set(Oddity)
    assert min(WEIGHTS.values()) > 0
