"""Rules on the night: its date, its season window, dusk and the last hour."""

from __future__ import annotations

from collections.abc import Iterator

from surveys.protocol.nights import night_of
from surveys.protocol.rules.reading import (
    LEAVE_IT,
)
from surveys.protocol.rules.rule import Breach, rule
from surveys.protocol.seasons import (
    in_window,
    window_of,
)
from surveys.protocol.values import (
    Case,
    Severity,
    Where,
)
from surveys.protocol.words import (
    day,
    days,
    listed,
    month_day,
)


@rule("future-night", Severity.REFUSE, "The night has come.")
def future_night(case: Case) -> Iterator[Breach]:
    tonight = night_of(case.surroundings.now, case.route.time_zone)
    if case.visit.night > tonight:
        yield Breach(
            where=Where(field="night"),
            message=f"The night of {day(case.visit.night)} has not come yet.",
            remedy="Check the date: a night has the date of its evening.",
        )


@rule("outside-window", Severity.QUERY, "The night lies in a season window.", on_phone=True)
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


@rule("same-night-twice", Severity.QUERY, "A route has one visit on one night.")
def same_night_twice(case: Case) -> Iterator[Breach]:
    night = case.visit.night
    if night in case.surroundings.other_nights:
        yield Breach(
            where=Where(field="night"),
            message=f"This route already has a visit on the night of {day(night)}.",
            remedy="Check the route and the date. If two people surveyed the route that night,"
            " leave it: the coordinator decides which visit counts.",
        )


@rule("too-soon-after-last-visit", Severity.QUERY, "Enough days lie between two visits of a route.")
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


@rule("window-visited-before", Severity.NOTE, "A route has one visit in each window.")
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
