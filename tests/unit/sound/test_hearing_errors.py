"""Which calls count as missed, as not heard by others, and as of another index."""

import pytest

from surveys.sound.hearing_errors import Share, Written, hearing_errors

THERE, NOT_THERE, OPEN = True, False, None


@pytest.mark.parametrize(
    ("there", "heard_index", "index", "missed", "not_heard", "other_index"),
    [
        (THERE, 2, 2, (0, 1), (0, 1), (0, 1)),
        (THERE, 2, 3, (0, 1), (0, 1), (1, 1)),
        (THERE, 2, None, (1, 1), (0, 0), (0, 0)),
        # Others differ in the index.
        (THERE, None, 3, (0, 1), (0, 1), (0, 0)),
        (NOT_THERE, None, 1, (0, 0), (1, 1), (0, 0)),
        # What a second observer did not write down says nothing.
        (OPEN, None, 1, (0, 0), (0, 0), (0, 0)),
    ],
)
def test_each_call_counts_where_it_says_something(
    there, heard_index, index, missed, not_heard, other_index
):
    call = Written(species="peeper", there=there, heard_index=heard_index, index=index)
    errors = hearing_errors([call])
    assert (errors.missed.part, errors.missed.whole) == missed
    assert (errors.not_heard.part, errors.not_heard.whole) == not_heard
    assert (errors.other_index.part, errors.other_index.whole) == other_index


def test_none_of_a_few_may_still_be_many():
    low, high = Share(part=0, whole=3).limits
    assert low == 0
    assert 0.5 < high < 0.6
    assert Share(part=3, whole=3).limits == pytest.approx((1 - high, 1))
