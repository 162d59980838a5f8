"""Which species fell silent on a route, and which are new."""

import pytest

from surveys.seasons.changed import new_pairs, silent_pairs

PAIR = (1, 7)


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
    found = silent_pairs(2024, {PAIR}, {PAIR: heard}, {1: listened})
    assert found == ({} if years is None else {PAIR: years})


def test_new_on_a_route_that_was_listened_on_before():
    listened = {1: {2020, 2024}, 2: {2024}}
    heard = {(1, 7): {2024}, (1, 8): {2020, 2024}, (1, 9): {2020}, (2, 7): {2024}}
    assert new_pairs(2024, heard, listened) == [(1, 7)]
