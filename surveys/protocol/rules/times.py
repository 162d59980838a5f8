"""Rules on the times at one stop: arrival, settling wait, listening."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator

from surveys.protocol.rules.reading import (
    LEAVE_IT,
    listened,
    time_listened,
)
from surveys.protocol.rules.rule import Breach
from surveys.protocol.values import (
    Case,
    Interruption,
    Where,
)
from surveys.protocol.words import (
    clocks,
    duration,
)

_NONE = dt.timedelta(0)
_READ_TO_THE_MINUTE = dt.timedelta(minutes=1)


def times_missing(case: Case) -> Iterator[Breach]:
    wanted = {"started_at": "start of the listening", "finished_at": "end of the listening"}
    if case.protocol.settling_wait is not None:
        wanted = {"arrived_at": "arrival", **wanted}
    for period in listened(case):
        for field, words in wanted.items():
            if getattr(period, field) is None:
                yield Breach(
                    where=Where(stop=period.stop, field=field),
                    message=f"Stop {period.stop} has no time for the {words}, so it cannot be"
                    " told whether the times meet the protocol.",
                    remedy="Write the time down, or mark the stop as skipped if nobody listened.",
                )


def start_before_arrival(case: Case) -> Iterator[Breach]:
    zone = case.route.time_zone
    for period in listened(case):
        arrived, started = period.arrived_at, period.started_at
        if arrived is not None and started is not None and started < arrived:
            start, arrival = clocks(started, arrived, zone)
            yield Breach(
                where=Where(stop=period.stop, field="started_at"),
                message=f"The listening at stop {period.stop} starts at {start},"
                f" before the arrival at {arrival}.",
                remedy="Correct one of the two times, or clear it if nobody remembers.",
            )


def finish_before_start(case: Case) -> Iterator[Breach]:
    zone = case.route.time_zone
    for period in listened(case):
        started, finished = period.started_at, period.finished_at
        if started is not None and finished is not None and finished <= started:
            end, start = clocks(finished, started, zone)
            yield Breach(
                where=Where(stop=period.stop, field="finished_at"),
                message=f"The listening at stop {period.stop} ends at {end},"
                f" which is not after its start at {start}.",
                remedy="Correct one of the two times, or clear it if nobody remembers.",
            )


def pause_longer_than_listening(case: Case) -> Iterator[Breach]:
    for period in listened(case):
        length = time_listened(period)
        if period.paused < _NONE:
            problem = "is below zero"
        elif length is not None and length < _NONE:
            problem = f"of {duration(period.paused)} is longer than the time from start to end"
        else:
            continue
        yield Breach(
            where=Where(stop=period.stop, field="paused_minutes"),
            message=f"The pause at stop {period.stop} {problem}.",
            remedy="Correct the pause or the start and end of the listening.",
        )


def pause_not_restarted(case: Case) -> Iterator[Breach]:
    if case.protocol.interruption is not Interruption.RESTART:
        return
    for period in listened(case):
        if period.paused > _NONE:
            yield Breach(
                where=Where(stop=period.stop, field="paused_minutes"),
                message=f"The listening at stop {period.stop} was paused for"
                f" {duration(period.paused)}; after a loud event the protocol begins the"
                " listening again.",
                remedy="If you did begin again, write the times of the unbroken listening and no"
                f" pause. {LEAVE_IT}",
            )


def wait_too_short(case: Case) -> Iterator[Breach]:
    wanted = case.protocol.settling_wait
    if wanted is None:
        return
    for period in listened(case):
        if period.arrived_at is None or period.started_at is None:
            continue
        waited = period.started_at - period.arrived_at
        if _NONE <= waited < wanted:
            yield Breach(
                where=Where(stop=period.stop, field="started_at"),
                message=f"The wait before listening at stop {period.stop} was"
                f" {duration(waited)}; the protocol asks for {duration(wanted)}.",
                remedy=f"If you are still at the stop, wait quietly and listen again. {LEAVE_IT}",
            )


def listening_too_short(case: Case) -> Iterator[Breach]:
    wanted = case.protocol.listening_time
    for period in listened(case):
        length = time_listened(period)
        if length is None or not _NONE <= length < wanted:
            continue
        pause = f", the pause of {duration(period.paused)} taken off" if period.paused else ""
        yield Breach(
            where=Where(stop=period.stop, field="finished_at"),
            message=f"The listening at stop {period.stop} took {duration(length)}{pause};"
            f" the protocol asks for {duration(wanted)}.",
            remedy=f"If you are still at the stop, listen again for the full time. {LEAVE_IT}",
        )


def listening_too_long(case: Case) -> Iterator[Breach]:
    """Times are often written to the minute, so one minute more is no breach."""
    protocol = case.protocol
    longest = protocol.longest_listening_time
    if longest is None:
        if protocol.interruption is Interruption.EXTEND:
            return
        longest = protocol.listening_time
    for period in listened(case):
        length = time_listened(period)
        if length is not None and length > longest + _READ_TO_THE_MINUTE:
            yield Breach(
                where=Where(stop=period.stop, field="finished_at"),
                message=f"The listening at stop {period.stop} took {duration(length)};"
                f" the protocol asks for no more than {duration(longest)}.",
                remedy="Check the times. If there was a pause, write how long it was.",
            )
