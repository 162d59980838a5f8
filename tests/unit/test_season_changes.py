"""Which species fell silent on a route, and which are new."""

import pytest

from surveys.seasons.changed import new_pairs, silent_pairs

PAIR = (1, 7)


def in_window(name, years):
    return {(year, name) for year in years}


@pytest.mark.parametrize(
    ("heard", "listened", "years"),
    [
        ({2021, 2022}, range(2019, 2024), (2021, 2022)),
        ({2022}, range(2019, 2024), None),
        # Of the last five years with visits, whatever lies between.
        ({2010, 2012}, (2010, 2012, 2014, 2016, 2018), (2010, 2012)),
        ({2010, 2012}, (2010, 2012, 2014, 2016, 2018, 2020), None),
        ({2022, 2024}, range(2019, 2025), None),
    ],
)
def test_silent_after_two_of_five_years(heard, listened, years):
    on_route = in_window("May", {*listened, 2024})
    found = silent_pairs(2024, {PAIR}, {PAIR: in_window("May", heard)}, {1: on_route})
    assert found == ({} if years is None else {PAIR: years})


def test_only_windows_of_this_season_are_compared():
    """A species of June is not silent while June is ahead."""
    years = range(2020, 2024)
    heard = {PAIR: in_window("June", years) | in_window("April", {2021})}
    before = in_window("April", years) | in_window("June", years)
    april = {1: before | in_window("April", {2024})}
    assert silent_pairs(2024, {PAIR}, heard, april) == {}
    june = {1: april[1] | in_window("June", {2024})}
    assert silent_pairs(2024, {PAIR}, heard, june) == {PAIR: tuple(years)}
    # In the same windows: in 2022 and 2023 nobody went in April.
    heard = {PAIR: in_window("April", {2016, 2021})}
    some = {1: in_window("April", {2016, 2020, 2021, 2024}) | in_window("June", {2022, 2023})}
    assert silent_pairs(2024, {PAIR}, heard, some) == {PAIR: (2016, 2021)}


def test_after_windows_were_renamed_all_are_compared():
    heard = {PAIR: in_window("May", {2021, 2022})}
    listened = {1: in_window("May", range(2020, 2024)) | in_window("Window 2", {2024})}
    assert silent_pairs(2024, {PAIR}, heard, listened) == {PAIR: (2021, 2022)}


def test_new_on_a_route_that_was_listened_on_before():
    listened = {1: in_window("May", {2020, 2024}), 2: in_window("May", {2024})}
    heard = {
        (1, 7): in_window("May", {2024}),
        (1, 8): in_window("June", {2020}) | in_window("May", {2024}),
        (1, 9): in_window("May", {2020}),
        (2, 7): in_window("May", {2024}),
    }
    assert new_pairs(2024, heard, listened) == [(1, 7)]
