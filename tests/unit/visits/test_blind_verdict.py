"""What several listeners of one recording agree on."""

import doctest

import pytest
from hypothesis import given
from hypothesis import strategies as st

from surveys.visits.blind import verdict as module
from surveys.visits.blind.verdict import Answer, verdict

GRAY = {"gray-or-copes": frozenset({"gray", "copes"})}
UNUSABLE = Answer(heard={}, usable=False)
NOTHING = Answer(heard={})


def heard(**indexes: int) -> Answer:
    return Answer(heard=indexes)


def test_the_example_runs():
    assert doctest.testmod(module).failed == 0


@pytest.mark.parametrize(
    ("answers", "agreed", "disputed", "finished"),
    [
        ([], {}, (), False),
        ([heard(peeper=2)], {}, ("peeper",), False),
        ([heard(peeper=2), heard(peeper=2)], {"peeper": 2}, (), True),
        ([heard(peeper=2), heard(peeper=3)], {"peeper": None}, (), True),
        ([heard(peeper=2), heard(peeper=3), heard(peeper=3)], {"peeper": 3}, (), True),
        ([heard(peeper=2), heard(wood=1)], {}, ("peeper", "wood"), False),
        ([heard(peeper=2), heard(wood=1), heard(wood=1)], {"wood": 1}, ("peeper",), True),
        ([heard(peeper=2), NOTHING], {}, ("peeper",), False),
        ([heard(peeper=2), UNUSABLE, UNUSABLE], {}, ("peeper",), True),
        ([NOTHING, NOTHING], {}, (), True),
        ([UNUSABLE, UNUSABLE], {}, (), True),
        ([UNUSABLE, NOTHING], {}, (), False),
    ],
)
def test_two_who_agree_are_enough_and_a_third_is_the_last(answers, agreed, disputed, finished):
    found = verdict(answers, {})
    assert (found.agreed, found.disputed, found.finished) == (agreed, disputed, finished)


def test_who_names_a_member_has_heard_the_joint_entry():
    found = verdict([heard(gray=2), Answer(heard={"gray-or-copes": 3})], GRAY)
    assert found.agreed == {"gray-or-copes": None}
    assert found.disputed == ("gray",)
    assert not found.finished
    found = verdict([heard(gray=2), heard(copes=2)], GRAY)
    assert found.agreed == {"gray-or-copes": 2}
    assert found.disputed == ("copes", "gray")


INDEXES = st.dictionaries(st.sampled_from(["a", "b", "c"]), st.integers(1, 3))


@given(answers=st.lists(INDEXES.map(lambda heard: Answer(heard=heard)), max_size=3), data=st.data())
def test_who_answered_first_makes_no_difference(answers, data):
    shuffled = data.draw(st.permutations(answers))
    assert verdict(shuffled, GRAY) == verdict(answers, GRAY)
