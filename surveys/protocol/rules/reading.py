"""What the rules read from a case."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping

from surveys.protocol.values import (
    Case,
    Period,
    PeriodStatus,
    Stop,
)


def listened(case: Case) -> tuple[Period, ...]:
    """The periods in which a stop was listened to, as they were written down."""
    return tuple(p for p in case.visit.periods if p.status is PeriodStatus.LISTENED)


def stops_by_number(case: Case) -> Mapping[int, Stop]:
    return {stop.number: stop for stop in case.route.stops}


def begin_of(period: Period) -> dt.datetime | None:
    """When the observer is known to have been at the stop."""
    return period.arrived_at or period.started_at


def in_time_order(case: Case) -> tuple[tuple[dt.datetime, Period], ...]:
    """The listened periods that have a beginning, each with it, earliest first."""
    timed = ((begin_of(period), period) for period in listened(case))
    known = [(begin, period) for begin, period in timed if begin is not None]
    return tuple(sorted(known, key=lambda pair: pair[0]))


def time_listened(period: Period) -> dt.timedelta | None:
    """Listening without the pauses; None when a time is missing or impossible."""
    if period.started_at is None or period.finished_at is None:
        return None
    if period.finished_at <= period.started_at:
        return None
    return period.finished_at - period.started_at - period.paused
