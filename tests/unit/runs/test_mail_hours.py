"""Quiet hours: in the program's time, over midnight and over a change of clocks."""

import datetime as dt

from surveys.runs.mail_hours import end_of_quiet
from tests.support.for_each import for_each


def utc(text: str) -> dt.datetime:
    return dt.datetime.fromisoformat(text).replace(tzinfo=dt.UTC)


# Chicago is six hours behind UTC in winter and five in summer; clocks change at 2 o'clock on
# 9 March 2025 (15 U.S.C. 260a; IANA time zone database).
CASES = {
    "evening": ("2025-01-15T02:00", "2025-01-15T15:00"),
    "just before eight at night": ("2025-01-15T01:59", None),
    "after midnight": ("2025-01-15T08:00", "2025-01-15T15:00"),
    "a minute early": ("2025-01-15T14:59", "2025-01-15T15:00"),
    "nine o'clock": ("2025-01-15T15:00", None),
    "the night that clocks change": ("2025-03-09T03:00", "2025-03-09T14:00"),
}


@for_each("now, end", CASES.values())
def test_the_end_of_the_quiet_hours(now, end):
    found = end_of_quiet("America/Chicago", utc(now))
    assert found == (utc(end) if end else None)
