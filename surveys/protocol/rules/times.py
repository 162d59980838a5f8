"""Rules on times: of the night, from stop to stop, and at one stop."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from itertools import pairwise

from surveys.language import gettext_noop as _
from surveys.protocol import params
from surveys.protocol.distance import distance_m
from surveys.protocol.nights import night_of
from surveys.protocol.rules.reading import (
    in_time_order,
    listened,
    stops_by_number,
    time_listened,
)
from surveys.protocol.rules.rule import Breach, rule
from surveys.protocol.sentences.sentence import LEAVE_IT, Sentence
from surveys.protocol.values import Case, Interruption, Period, Severity, Where

_NONE = dt.timedelta(0)
_READ_TO_THE_MINUTE = dt.timedelta(minutes=1)
_ONE_HOUR = dt.timedelta(hours=1)
_CLOCK_SLACK = dt.timedelta(minutes=15)

_CORRECT_TIME = _("Correct one of the two times, or clear it if no one remembers.")


@rule(
    "time-on-another-night",
    Severity.REFUSE,
    "Every time belongs to the night of the visit.",
    Sentence(
        _(
            "{time} at stop {stop} belongs to the night of {night}, but this visit is for the"
            " night of {visit_night}."
        ),
        (
            _("Correct the time or the date."),
            _("A night lasts from noon to noon. Use the date on which the evening began."),
        ),
    ),
    on_phone=True,
)
def time_on_another_night(case: Case) -> Iterator[Breach]:
    zone = case.route.time_zone
    for stop, field, instant in _written_times(case):
        night = night_of(instant, zone)
        if night != case.visit.night:
            yield Breach(
                where=Where(stop=stop, field=field),
                params={
                    "time": params.clock(instant),
                    "stop": stop,
                    "night": params.date(night),
                    "visit_night": params.date(case.visit.night),
                },
            )


@rule(
    "future-time",
    Severity.REFUSE,
    "No time is in the future.",
    Sentence(
        _("{time} at stop {stop} is in the future."),
        (_("Check the date of the night, the time, and the clock of the phone."),),
    ),
    on_phone=True,
)
def future_time(case: Case) -> Iterator[Breach]:
    """A clock may be a little ahead of the server's; more than that is impossible."""
    latest = case.surroundings.now + _CLOCK_SLACK
    for stop, field, instant in _written_times(case):
        if instant > latest:
            yield Breach(
                where=Where(stop=stop, field=field),
                params={"time": params.clock(instant), "stop": stop},
            )


@rule(
    "start-before-arrival",
    Severity.REFUSE,
    "Listening starts after the arrival.",
    Sentence(
        _("Listening at stop {stop} starts at {start}, before the arrival at {arrival}."),
        (_CORRECT_TIME,),
    ),
    on_phone=True,
)
def start_before_arrival(case: Case) -> Iterator[Breach]:
    for period in listened(case):
        arrived, started = period.arrived_at, period.started_at
        if arrived is not None and started is not None and started < arrived:
            start, arrival = params.clocks(started, arrived)
            yield Breach(
                where=Where(stop=period.stop, field="started_at"),
                params={"stop": period.stop, "start": start, "arrival": arrival},
            )


@rule(
    "finish-before-start",
    Severity.REFUSE,
    "Listening ends after it starts.",
    Sentence(
        _("Listening at stop {stop} ends at {end}, which is not after its start at {start}."),
        (_CORRECT_TIME,),
    ),
    on_phone=True,
)
def finish_before_start(case: Case) -> Iterator[Breach]:
    for period in listened(case):
        started, finished = period.started_at, period.finished_at
        if started is not None and finished is not None and finished <= started:
            end, start = params.clocks(finished, started)
            yield Breach(
                where=Where(stop=period.stop, field="finished_at"),
                params={"stop": period.stop, "end": end, "start": start},
            )


@rule(
    "pause-longer-than-listening",
    Severity.REFUSE,
    "A pause is not longer than the time from start to end.",
    Sentence(
        _("The pause of {pause} at stop {stop} is longer than the time from start to end."),
        (_("Correct the pause, the start or the end."),),
    ),
    variants={
        "below-zero": Sentence(
            _("The pause at stop {stop} is less than zero."),
            (_("Correct the pause, the start or the end."),),
        )
    },
    on_phone=True,
)
def pause_longer_than_listening(case: Case) -> Iterator[Breach]:
    for period in listened(case):
        length = time_listened(period)
        if period.paused < _NONE:
            variant = "below-zero"
        elif length is not None and length < _NONE:
            variant = ""
        else:
            continue
        yield Breach(
            where=Where(stop=period.stop, field="paused_minutes"),
            variant=variant,
            params={"stop": period.stop, "pause": params.pause(period.paused)},
        )


@rule(
    "stops-overlap",
    Severity.REFUSE,
    "The listening at one stop ends before the next stop begins.",
    Sentence(
        _("Stop {stop} starts at {start}, while listening at stop {busy} runs until {end}."),
        (
            _(
                "You cannot be at two stops at once. Correct a time,"
                " or clear it if no one remembers."
            ),
        ),
    ),
    on_phone=True,
)
def stops_overlap(case: Case) -> Iterator[Breach]:
    busy: Period | None = None
    for begin, period in in_time_order(case):
        if busy is not None and busy.finished_at is not None and begin < busy.finished_at:
            start, end = params.clocks(begin, busy.finished_at)
            yield Breach(
                where=Where(stop=period.stop, field=_begin_field(period)),
                params={
                    "stop": period.stop,
                    "start": start,
                    "busy": busy.stop,
                    "end": end,
                },
            )
        if period.finished_at is not None and (
            busy is None or busy.finished_at is None or period.finished_at > busy.finished_at
        ):
            busy = period


@rule(
    "impossible-drive",
    Severity.QUERY,
    "There was time to drive from stop to stop.",
    Sentence(
        _(
            "It is {distance} in a straight line from stop {from} to stop {to}, with only"
            " {between} between the two: that would be faster than {fastest}."
        ),
        (_("Check the times and the numbers of the two stops."), LEAVE_IT),
    ),
    on_phone=True,
)
def impossible_drive(case: Case) -> Iterator[Breach]:
    """Straight-line speed between stops. Times are often written to the minute, so
    one minute is added to the time between."""
    fastest = case.protocol.max_drive_kmh
    stops = stops_by_number(case)
    for (_start, earlier), (begin, later) in pairwise(in_time_order(case)):
        left = earlier.finished_at
        if left is None or begin < left or not {earlier.stop, later.stop} <= stops.keys():
            continue
        meters = distance_m(stops[earlier.stop].place, stops[later.stop].place)
        hours = (begin - left + _READ_TO_THE_MINUTE) / _ONE_HOUR
        if meters / 1000 / hours > fastest:
            yield Breach(
                where=Where(stop=later.stop, field=_begin_field(later)),
                params={
                    "from": earlier.stop,
                    "to": later.stop,
                    "distance": params.distance(meters),
                    "between": params.duration(begin - left),
                    "fastest": params.speed(fastest),
                },
            )


@rule(
    "times-missing",
    Severity.QUERY,
    "No listening time is missing.",
    Sentence(
        _("Stop {stop} has no time for the {missing}, so we cannot check the times."),
        (_("Write down the time, or mark the stop as skipped if no one listened."),),
    ),
    on_phone=True,
)
def times_missing(case: Case) -> Iterator[Breach]:
    wanted = ["started_at", "finished_at"]
    if case.protocol.settling_wait is not None:
        wanted = ["arrived_at", *wanted]
    for period in listened(case):
        for field in wanted:
            if getattr(period, field) is None:
                yield Breach(
                    where=Where(stop=period.stop, field=field),
                    params={"stop": period.stop, "missing": params.word(field)},
                )


@rule(
    "wait-too-short",
    Severity.QUERY,
    "The quiet wait was long enough.",
    Sentence(
        _("The quiet wait at stop {stop} was {waited}; the protocol asks for {wanted}."),
        (_("If you are still at the stop, wait quietly and listen again."), LEAVE_IT),
    ),
    on_phone=True,
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
                params={
                    "stop": period.stop,
                    "waited": params.duration(waited),
                    "wanted": params.duration(wanted),
                },
            )


@rule(
    "listening-too-short",
    Severity.QUERY,
    "The listening period was long enough, not counting pauses.",
    Sentence(
        _("You listened at stop {stop} for {length}; the protocol asks for {wanted}."),
        (_("If you are still at the stop, listen again for the full time."), LEAVE_IT),
    ),
    variants={
        "pause": Sentence(
            _(
                "You listened at stop {stop} for {length} (not counting a pause of {pause});"
                " the protocol asks for {wanted}."
            ),
            (_("If you are still at the stop, listen again for the full time."), LEAVE_IT),
        )
    },
    on_phone=True,
)
def listening_too_short(case: Case) -> Iterator[Breach]:
    wanted = case.protocol.listening_time
    for period in listened(case):
        length = time_listened(period)
        if length is None or not _NONE <= length < wanted:
            continue
        yield Breach(
            where=Where(stop=period.stop, field="finished_at"),
            variant="pause" if period.paused else "",
            params={
                "stop": period.stop,
                "length": params.duration(length),
                **({"pause": params.pause(period.paused)} if period.paused else {}),
                "wanted": params.duration(wanted),
            },
        )


@rule(
    "listening-too-long",
    Severity.NOTE,
    "The listening period was not too long.",
    Sentence(
        _(
            "You listened at stop {stop} for {length};"
            " the protocol asks for no more than {longest}."
        ),
        (_("Check the times."), _("If there was a pause, enter how long it was.")),
    ),
    on_phone=True,
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
                params={
                    "stop": period.stop,
                    "length": params.duration(length),
                    "longest": params.duration(longest),
                },
            )


@rule(
    "pause-not-restarted",
    Severity.QUERY,
    "An interrupted listening period was restarted if the protocol requires it.",
    Sentence(
        _(
            "You paused at stop {stop} for {pause};"
            " the protocol asks you to start over after a loud event."
        ),
        (
            _("If you did start over, enter the times of the full listening period and no pause."),
            LEAVE_IT,
        ),
    ),
    on_phone=True,
)
def pause_not_restarted(case: Case) -> Iterator[Breach]:
    if case.protocol.interruption is not Interruption.RESTART:
        return
    for period in listened(case):
        if period.paused > _NONE:
            yield Breach(
                where=Where(stop=period.stop, field="paused_minutes"),
                params={"stop": period.stop, "pause": params.pause(period.paused)},
            )


def _written_times(case: Case) -> Iterator[tuple[int, str, dt.datetime]]:
    for period in case.visit.periods:
        for field in ("arrived_at", "started_at", "finished_at"):
            instant = getattr(period, field)
            if instant is not None:
                yield period.stop, field, instant


def _begin_field(period: Period) -> str:
    return "started_at" if period.arrived_at is None else "arrived_at"
