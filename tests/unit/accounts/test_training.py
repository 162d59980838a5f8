"""What is said of a call-identification test beside a name."""

import datetime as dt

import pytest

from accounts.models import Membership
from accounts.training import validity_in_words
from surveys import dates

MAY = dt.date(2025, 5, 1)


@pytest.mark.parametrize(
    ("on", "until", "words"),
    [
        (None, None, "no test on record"),
        (dt.date(2024, 3, 1), None, "test valid"),
        (dt.date(2024, 3, 1), MAY, "test valid to May 1, 2025"),
        (dt.date(2024, 3, 1), dt.date(2025, 4, 30), "test expired on Apr 30, 2025"),
        (dt.date(2025, 5, 2), None, "test valid from May 2, 2025"),
    ],
)
def test_in_words(on, until, words):
    member = Membership(trained_on=on, trained_until=until)
    with dates.using(dates.AMERICAN):
        assert validity_in_words(member, MAY) == words
