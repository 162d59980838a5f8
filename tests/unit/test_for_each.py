"""Every case is tried, and each that fails is told by its name."""

import pytest

from tests.support.for_each import for_each


@pytest.fixture
def limit():
    return 3


@for_each("number", [0, 1, 2])
def test_cases_have_the_fixtures_of_their_test(number, limit):
    assert number < limit


def test_each_case_that_fails_is_told():
    tried = []

    @for_each(
        "number, word", [(1, "one"), (2, "zwei"), (3, "three"), (4, "vier")], lambda case: case[1]
    )
    def check(number, word):
        tried.append(number)
        if number == 4:
            pytest.fail("not a word")
        assert word in ("one", "three"), word

    with pytest.raises(BaseExceptionGroup, match="2 of 4 cases") as caught:
        check()
    assert tried == [1, 2, 3, 4]
    assert [error.__notes__ for error in caught.value.exceptions] == [
        ["Case: zwei"],
        ["Case: vier"],
    ]


def test_no_cases_is_a_fault():
    with pytest.raises(AssertionError, match="no cases for number"):
        for_each("number", [])
