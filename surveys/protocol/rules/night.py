"""Rules on the night: its date, its season window, dusk and the last hour."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator

from surveys.protocol.hours import (
    earliest_start,
    latest_end,
)
from surveys.protocol.nights import night_of
from surveys.protocol.rules.reading import (
    LEAVE_IT,
    listened,
    stops_by_number,
)
from surveys.protocol.rules.rule import Breach
from surveys.protocol.seasons import (
    in_window,
    window_of,
)
from surveys.protocol.values import (
    Case,
    Where,
)
from surveys.protocol.words import (
    clock,
    clock_up,
    day,
    days,
    duration,
    listed,
    month_day,
    stop_numbers,
)

_CLOCK_SLACK = dt.timedelta(minutes=15)


def outside_window(case: Case) -> Iterator[Breach]:
    protocol, night = case.protocol, case.visit.night
    if not protocol.windows or window_of(night, protocol) is not None:
        return
    windows = listed(
        f"{w.name} ({month_day(w.opens)} to {month_day(w.closes)})" for w in protocol.windows
    )
    yield Breach(
        where=Where(field="night"),
        message=f"The night of {day(night)} is in no season window. The windows are {windows}.",
        remedy=f"Check the date: a night has the date of its evening. {LEAVE_IT}",
    )


def future_night(case: Case) -> Iterator[Breach]:
    tonight = night_of(case.surroundings.now, case.route.time_zone)
    if case.visit.night > tonight:
        yield Breach(
            where=Where(field="night"),
            message=f"The night of {day(case.visit.night)} has not come yet.",
            remedy="Check the date: a night has the date of its evening.",
        )


def future_time(case: Case) -> Iterator[Breach]:
    """A clock may be a little ahead of the server's; more than that is impossible."""
    latest = case.surroundings.now + _CLOCK_SLACK
    for stop, field, instant in _written_times(case):
        if instant > latest:
            yield Breach(
                where=Where(stop=stop, field=field),
                message=f"{clock(instant, case.route.time_zone)} at stop {stop} has not come yet.",
                remedy="Check the date of the night, the time, and the clock of the phone.",
            )


def time_on_another_night(case: Case) -> Iterator[Breach]:
    zone = case.route.time_zone
    for stop, field, instant in _written_times(case):
        night = night_of(instant, zone)
        if night != case.visit.night:
            yield Breach(
                where=Where(stop=stop, field=field),
                message=f"{clock(instant, zone)} at stop {stop} belongs to the night of"
                f" {day(night)}, but the visit is of the night of {day(case.visit.night)}.",
                remedy="Correct the time or the date. A night lasts from noon to noon and has the"
                " date of its evening.",
            )


def same_night_twice(case: Case) -> Iterator[Breach]:
    night = case.visit.night
    if night in case.surroundings.other_nights:
        yield Breach(
            where=Where(field="night"),
            message=f"This route already has a visit on the night of {day(night)}.",
            remedy="Check the route and the date. If two people surveyed the route that night,"
            " leave it: the coordinator decides which visit counts.",
        )


def too_soon_after_last_visit(case: Case) -> Iterator[Breach]:
    """Judged in both directions, because visits may be written down in any order."""
    wanted = case.protocol.min_days_between_visits
    night = case.visit.night
    others = [other for other in case.surroundings.other_nights if other != night]
    if wanted is None or not others:
        return
    nearest = min(others, key=lambda other: (abs((night - other).days), other))
    gap = abs((night - nearest).days)
    if gap < wanted:
        yield Breach(
            where=Where(field="night"),
            message=f"This visit is only {days(gap)} from the one on the night of {day(nearest)};"
            f" the protocol asks for {days(wanted)}.",
            remedy=f"Check the date. {LEAVE_IT}",
        )


def window_visited_before(case: Case) -> Iterator[Breach]:
    window, night = window_of(case.visit.night, case.protocol), case.visit.night
    if window is None:
        return
    others = sorted(
        other
        for other in case.surroundings.other_nights
        if other != night and in_window(other, window)
    )
    if others:
        yield Breach(
            where=Where(field="night"),
            message=f"The window “{window.name}” already has a visit of this route, on the night"
            f" of {listed(day(other) for other in others)}.",
            remedy="Nothing needs mending if the extra visit was meant. Otherwise check the date.",
        )


def before_dusk(case: Case) -> Iterator[Breach]:
    offset = case.protocol.earliest_start_after_sunset
    if offset is None:
        return
    zone = case.route.time_zone
    for period in listened(case):
        earliest = earliest_start(case.protocol, case.sky.get(period.stop))
        if earliest is None or period.started_at is None:
            continue
        if period.started_at < earliest:
            yield Breach(
                where=Where(stop=period.stop, field="started_at"),
                message=f"The listening at stop {period.stop} starts at"
                f" {clock(period.started_at, zone)}; the earliest start is"
                f" {clock_up(earliest, zone)} ({_after_sunset(offset)}).",
                remedy=f"Check the time. If you are at the stop, wait and begin again. {LEAVE_IT}",
            )


def after_last_hour(case: Case) -> Iterator[Breach]:
    zone = case.route.time_zone
    for period in listened(case):
        latest = latest_end(case.protocol, case.sky.get(period.stop), case.visit.night, zone)
        if latest is None or period.finished_at is None:
            continue
        if period.finished_at > latest:
            yield Breach(
                where=Where(stop=period.stop, field="finished_at"),
                message=f"The listening at stop {period.stop} ends at"
                f" {clock_up(period.finished_at, zone)}; the latest end is {clock(latest, zone)}.",
                remedy=f"Check the time. {LEAVE_IT}",
            )


def sun_does_not_set(case: Case) -> Iterator[Breach]:
    stops = sorted(
        {p.stop for p in listened(case) if p.stop in case.sky and case.sky[p.stop].sunset is None}
    )
    if stops and _needs_sunset(case):
        yield Breach(
            message="The sun does not set or does not rise here on this night"
            f" ({stop_numbers(stops)}), so it cannot be told whether the hours meet the protocol.",
            remedy="Nothing needs mending. The coordinator judges the hours.",
        )


def sunset_unknown(case: Case) -> Iterator[Breach]:
    known = stops_by_number(case)
    stops = sorted({p.stop for p in listened(case) if p.stop in known and p.stop not in case.sky})
    if stops and _needs_sunset(case):
        yield Breach(
            message=f"The sunset at {stop_numbers(stops)} is not known, so it cannot be told"
            " whether the hours meet the protocol.",
            remedy="Nothing needs mending. It is worked out when the visit reaches the server.",
        )


def _needs_sunset(case: Case) -> bool:
    protocol = case.protocol
    return (
        protocol.earliest_start_after_sunset is not None
        or protocol.latest_end_after_sunset is not None
    )


def _written_times(case: Case) -> Iterator[tuple[int, str, dt.datetime]]:
    for period in case.visit.periods:
        for field in ("arrived_at", "started_at", "finished_at"):
            instant = getattr(period, field)
            if instant is not None:
                yield period.stop, field, instant


def _after_sunset(offset: dt.timedelta) -> str:
    if offset < dt.timedelta(0):
        return f"{duration(-offset)} before sunset"
    return f"{duration(offset)} after sunset" if offset else "sunset"
