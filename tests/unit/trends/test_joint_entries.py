"""Which of a joint entry and its members is told, and in which years."""

import random
from dataclasses import replace

import pytest

from surveys.trends import YearCounts, year_row
from surveys.trends.columns import YEARLY_FLAGS
from surveys.trends.estimates import (
    FEW_NAMED,
    JOINT_ENTRY_TOLD,
    MEMBERS_TOLD,
    NAMING_CHANGED,
    NEVER_HEARD,
)
from surveys.trends.joint_entries import (
    NAMED_SHARE,
    JointEntry,
    group_flags,
    mark_row,
    told_entries,
    unnamed_years,
)

GRAY, COPE, EITHER = "Dryophytes versicolor", "Dryophytes chrysoscelis", "either"
ENTRY = JointEntry(name=EITHER, members=(GRAY, COPE))


def told(records):
    return told_entries([ENTRY], records)


@pytest.mark.parametrize(
    ("gray", "cope", "either", "members"),
    [
        (80, 0, 20, True),  # 80 of 100: the limit itself tells the members
        (40, 40, 20, True),
        (79, 0, 21, False),
        (4, 0, 1, True),
        (399, 0, 100, False),
        (0, 1, 0, True),
        (0, 0, 1, False),
    ],
)
def test_members_are_told_from_80_percent_of_the_records(gray, cope, either, members):
    (group,) = told({GRAY: {2024: gray}, COPE: {2024: cope}, EITHER: {2024: either}})
    assert (group.named, group.records) == (gray + cope, gray + cope + either)
    assert group.tells_members is members
    assert (MEMBERS_TOLD in group_flags(EITHER, [group])) is members
    assert (JOINT_ENTRY_TOLD in group_flags(GRAY, [group])) is not members
    assert (JOINT_ENTRY_TOLD in group_flags(COPE, [group])) is not members


def test_nothing_is_chosen_without_records_or_members():
    assert told({}) == ()
    assert told({GRAY: {2024: 0}, EITHER: {}}) == ()
    alone = JointEntry(name=EITHER, members=())
    assert told_entries([alone], {EITHER: {2024: 5}}) == ()
    assert group_flags("Anaxyrus americanus", told({EITHER: {2024: 5}})) == ()


NAMED, UNNAMED = {GRAY: 9, EITHER: 1}, {GRAY: 1, EITHER: 9}


@pytest.mark.parametrize(
    ("years", "changed"),
    [
        ([NAMED], False),
        ([NAMED, NAMED], False),
        ([NAMED, UNNAMED], True),
        ([UNNAMED, NAMED], True),
        ([NAMED, UNNAMED, NAMED], False),  # the middle one belongs to neither half
        ([NAMED, NAMED, UNNAMED], True),
        # 36 of 40 against 20 of 40
        ([NAMED, NAMED, NAMED, NAMED, UNNAMED, NAMED, UNNAMED, NAMED], True),
        # Twice the same, in another order
        ([NAMED, UNNAMED, UNNAMED, NAMED], False),
    ],
)
def test_a_change_of_naming_between_the_halves_of_the_years(years, changed):
    records = {GRAY: {}, EITHER: {}}
    for year, counts in enumerate(years, start=2010):
        for name, count in counts.items():
            records[name][year] = count
    (group,) = told(records)
    assert group.changed is changed
    for name in (GRAY, COPE, EITHER):
        assert (NAMING_CHANGED in group_flags(name, [group])) is changed


def test_years_without_records_are_in_no_half():
    (group,) = told({GRAY: {2010: 9, 2011: 0, 2012: 0, 2013: 0}, EITHER: {2010: 1, 2020: 10}})
    assert group.changed


def test_a_species_of_two_groups_is_told_where_both_tell_it():
    other = JointEntry(name="gray or barking", members=(GRAY,))
    groups = told_entries(
        [ENTRY, other], {GRAY: {2024: 8}, EITHER: {2024: 1}, "gray or barking": {2023: 9}}
    )
    assert [group.tells_members for group in groups] == [True, False]
    assert JOINT_ENTRY_TOLD in group_flags(GRAY, groups)
    assert JOINT_ENTRY_TOLD not in group_flags(COPE, groups)
    assert unnamed_years(GRAY, groups) == {2023}
    assert unnamed_years(COPE, groups) == frozenset()


def row(species, year):
    return year_row(
        YearCounts(
            species=species, season_year=year, routes=2, stops=20, visits=4, periods=40,
            stops_detected=8, stops_at_index=(4, 3, 1),
        )
    )  # fmt: skip


def test_a_year_whose_records_name_too_few_has_no_shares_of_the_species():
    groups = told({GRAY: {2022: 90, 2023: 7, 2024: 9}, EITHER: {2023: 3, 2024: 1}})
    before, marked = row(GRAY, 2023), mark_row(row(GRAY, 2023), groups)
    shares = ("naive_occupancy", "naive_low", "naive_high", "mean_index", "share_index_1",
              "share_index_2", "share_index_3")  # fmt: skip
    assert all(getattr(before, name) is not None for name in shares)
    assert [getattr(marked, name) for name in shares] == [None] * len(shares)
    assert (marked.stops, marked.stops_detected, marked.periods) == (20, 8, 40)
    assert marked.flags == (FEW_NAMED,)
    silent = replace(before, flags=(NEVER_HEARD,))
    assert mark_row(silent, groups).flags == (FEW_NAMED,), "it may be what the joint entry was"
    assert mark_row(replace(silent, season_year=2024), groups).flags == (NEVER_HEARD,)
    for other in (row(GRAY, 2022), row(GRAY, 2024), row("Anaxyrus americanus", 2023)):
        assert mark_row(other, groups) == other
    either = mark_row(row(EITHER, 2023), groups)
    assert (either.naive_occupancy, either.flags) == (0.4, (MEMBERS_TOLD,))


def test_the_dictionary_has_every_flag_that_a_group_may_set():
    by_year = [{2022: 90, 2023: 7}, {2022: 7, 2023: 90}, {2023: 9}, {}]
    flags = {
        flag
        for gray in by_year
        for either in by_year
        for name in (GRAY, EITHER)
        for flag in group_flags(name, told({GRAY: gray, EITHER: either}))
    }
    assert flags == {MEMBERS_TOLD, JOINT_ENTRY_TOLD, FEW_NAMED, NAMING_CHANGED}
    assert flags < set(YEARLY_FLAGS)


def test_the_choice_against_a_definition_in_plain_python():
    """Random records; shares as exact fractions."""
    dice = random.Random(5)
    for _ in range(500):
        years = range(2010, 2010 + dice.randint(1, 6))
        records = {
            name: {year: dice.choice([0, 0, 1, 2, 4, 8]) for year in years}
            for name in (GRAY, COPE, EITHER)
        }

        def counts(some, records=records):
            named = sum(records[name][year] for name in (GRAY, COPE) for year in some)
            return named, named + sum(records[EITHER][year] for year in some)

        with_records = [year for year in years if counts([year])[1]]
        groups = told(records)
        if not with_records:
            assert groups == ()
            continue
        (group,) = groups
        named, total = counts(years)
        assert (group.named, group.records) == (named, total)
        assert group.tells_members == (5 * named >= 4 * total)
        assert group.unnamed_years == {
            year for year in with_records if 5 * counts([year])[0] < 4 * counts([year])[1]
        }
        half = len(with_records) // 2
        sides = [
            5 * counts(side)[0] >= 4 * counts(side)[1]
            for side in (with_records[:half], with_records[len(with_records) - half :])
        ]
        assert group.changed == (half > 0 and sides[0] != sides[1])
    assert NAMED_SHARE == 0.8
