"""How many routes will have a visit by the end of a window, at the pace of the last two weeks."""

import datetime as dt

import pytest

from surveys.programs.schedule import DueWindow
from surveys.seasons.forecast import expected

WINDOW = DueWindow(name="Spring", opens=dt.date(2025, 4, 1), closes=dt.date(2025, 5, 10))


def april(*days: int) -> list[dt.date]:
    return [dt.date(2025, 4, day) for day in days]


@pytest.mark.parametrize(
    ("nights", "today", "routes"),
    [
        # Worked by hand. 7 visits in 14 nights, 20 nights ahead: 7 + 10.
        (april(7, 8, 9, 10, 11, 12, 13), dt.date(2025, 4, 20), 17),
        # 3 in 14 nights, 20 ahead: 3 + 4.28…, never rounded up.
        (april(9, 10, 11), dt.date(2025, 4, 20), 7),
        # What was surveyed before the last two weeks counts, its pace does not.
        (april(1, 2, 3), dt.date(2025, 4, 20), 3),
        # The window has been open for 5 nights only: 2 in 5, 35 ahead.
        (april(1, 5), dt.date(2025, 4, 5), 16),
        (april(1, 2, 3, 4), dt.date(2025, 4, 4), None),
        (april(9, 10, 11), dt.date(2025, 5, 10), 3),
        # Nobody goes twice: never more than there are routes.
        (april(*range(7, 21)), dt.date(2025, 4, 20), 30),
        (april(1), dt.date(2025, 3, 31), None),
        (april(1), dt.date(2025, 5, 11), None),
    ],
)
def test_the_pace_goes_on(nights, today, routes):
    assert expected(WINDOW, nights, due=30, today=today) == routes
