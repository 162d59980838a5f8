"""Whole numbers of addresses and fields."""

import pytest

from surveys.web.numbers import whole_number


@pytest.mark.parametrize(
    ("text", "number"),
    [("0", 0), ("2024", 2024), ("", None), ("-1", None), ("٣", None), ("²", None), ("1e3", None),
     ("9" * 5_000, None)],
)  # fmt: skip
def test_whole_numbers(text, number):
    assert whole_number(text) == number
