"""When mail goes out that nobody waits for: by day, where the program is."""

from __future__ import annotations

import datetime as dt
from typing import Any
from zoneinfo import ZoneInfo

from django.utils import timezone
from procrastinate.tasks import Task

# Local hours in which mail goes out; the others are quiet.
FIRST_HOUR, LAST_HOUR = 9, 20


def end_of_quiet(time_zone: str, now: dt.datetime) -> dt.datetime | None:
    """When the quiet hours end that run at an instant; None: mail may go out."""
    local = now.astimezone(ZoneInfo(time_zone))
    if FIRST_HOUR <= local.hour < LAST_HOUR:
        return None
    day = local.date() + dt.timedelta(days=1 if local.hour >= LAST_HOUR else 0)
    return dt.datetime.combine(day, dt.time(FIRST_HOUR), tzinfo=ZoneInfo(time_zone))


def defer_by_day(task: Task[Any, Any, Any], time_zone: str, **arguments: Any) -> None:
    """Queue a task now, or for the end of the quiet hours."""
    later = end_of_quiet(time_zone, timezone.now())
    if later is None:
        task.defer(**arguments)
    else:
        task.configure(schedule_at=later).defer(**arguments)
