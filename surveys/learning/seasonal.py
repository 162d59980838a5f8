"""Which species are asked about now: those that call, and where these are few, others with them.

On the phone `web/survey/static/survey/practice/seasonal.js` chooses the same.
"""

from __future__ import annotations

from collections.abc import Mapping
from enum import StrEnum

from surveys.sound.questions import CHOICES


class Scope(StrEnum):
    """Why a species is asked about. NEAREST: few call now; NONE_CALLS: so all are asked."""

    ALL = "all"
    CALLING = "calling"
    NEAREST = "nearest"
    NONE_CALLS = "none-calls"


def asked_now(days_away: Mapping[str, int]) -> tuple[Scope, set[str]]:
    """Of species, each with the days to its calling season. Which of several calls can be asked
    only where there are several: fewer than CHOICES are filled up, the nearest season first."""
    calling = {code for code, days in days_away.items() if not days}
    if not calling:
        return Scope.NONE_CALLS, set(days_away)
    if len(calling) >= min(CHOICES, len(days_away)):
        return Scope.CALLING, calling
    nearest = sorted(days_away, key=lambda code: days_away[code])
    return Scope.NEAREST, set(nearest[:CHOICES])
