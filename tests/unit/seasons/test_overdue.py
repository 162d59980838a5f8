"""How urgent a visit is: its window half gone, closing, over."""

import datetime as dt

import pytest

from surveys.programs.schedule import DueWindow
from surveys.seasons.overdue import Urgency, urgency_of

APRIL = DueWindow(name="April", opens=dt.date(2025, 4, 1), closes=dt.date(2025, 4, 30))
WEEK = DueWindow(name="Week", opens=dt.date(2025, 4, 1), closes=dt.date(2025, 4, 7))


@pytest.mark.parametrize(
    ("window", "today", "urgency"),
    [
        (APRIL, dt.date(2025, 3, 31), None),
        (APRIL, dt.date(2025, 4, 15), None),
        (APRIL, dt.date(2025, 4, 16), Urgency.HALF_GONE),  # 15 nights gone, 15 left
        (APRIL, dt.date(2025, 4, 22), Urgency.HALF_GONE),
        (APRIL, dt.date(2025, 4, 23), Urgency.CLOSING),
        (APRIL, dt.date(2025, 4, 30), Urgency.CLOSING),
        (APRIL, dt.date(2025, 5, 1), Urgency.MISSED),
        (WEEK, dt.date(2025, 4, 1), Urgency.CLOSING),
    ],
)
def test_the_date_decides(window, today, urgency):
    assert urgency_of(window, today) is urgency
