"""Rules on the stops of a route: which, in which order, how far apart."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Iterator
from itertools import pairwise

from surveys.protocol.distance import distance_m
from surveys.protocol.rules.reading import (
    LEAVE_IT,
    in_time_order,
    listened,
    stops_by_number,
)
from surveys.protocol.rules.rule import Breach
from surveys.protocol.values import (
    Case,
    Period,
    Where,
)
from surveys.protocol.words import (
    clocks,
    distance,
    duration,
    listed,
    speed,
    stop_numbers,
)

_READ_TO_THE_MINUTE = dt.timedelta(minutes=1)
_ONE_HOUR = dt.timedelta(hours=1)


def unknown_stop(case: Case) -> Iterator[Breach]:
    known = stops_by_number(case)
    for number in sorted({p.stop for p in case.visit.periods} - known.keys()):
        yield Breach(
            where=Where(stop=number),
            message=f"Route {case.route.name} has no stop {number}.",
            remedy=f"Correct the number. The route has {stop_numbers(sorted(known))}.",
        )


def twice_the_same_stop(case: Case) -> Iterator[Breach]:
    counts = Counter(period.stop for period in case.visit.periods)
    for number, count in sorted(counts.items()):
        if count > 1:
            yield Breach(
                where=Where(stop=number),
                message=f"Stop {number} is written down {_times(count)} in this visit.",
                remedy="Keep one of them, or correct the number of the stop.",
            )


def stop_left_blank(case: Case) -> Iterator[Breach]:
    written = {period.stop for period in case.visit.periods}
    blank = sorted(stops_by_number(case).keys() - written)
    if blank:
        yield Breach(
            message=f"Nothing is written down for {stop_numbers(blank)}. A blank stop counts as not"
            " surveyed, not as silent.",
            remedy="If nobody listened there, mark it as skipped and say why.",
        )


def too_few_stops(case: Case) -> Iterator[Breach]:
    number = len({p.stop for p in listened(case)} & stops_by_number(case).keys())
    wanted = case.protocol.min_stops
    if number < wanted:
        yield Breach(
            message=f"{number} {'stop was' if number == 1 else 'stops were'} listened to;"
            f" the protocol asks for at least {wanted}.",
            remedy=f"If more stops were listened to, write them down. {LEAVE_IT}",
        )


def stops_out_of_order(case: Case) -> Iterator[Breach]:
    if not case.protocol.stops_in_order:
        return
    order = [period.stop for _, period in in_time_order(case)]
    early = next((later for earlier, later in pairwise(order) if later < earlier), None)
    if early is not None:
        yield Breach(
            where=Where(stop=early, field="started_at"),
            message=f"By their times the stops were surveyed in the order {listed(order)};"
            " the protocol asks for the order of their numbers.",
            remedy=f"Check the times and the numbers of the stops. {LEAVE_IT}",
        )


def stops_overlap(case: Case) -> Iterator[Breach]:
    zone = case.route.time_zone
    busy: Period | None = None
    for begin, period in in_time_order(case):
        if busy is not None and busy.finished_at is not None and begin < busy.finished_at:
            start, end = clocks(begin, busy.finished_at, zone)
            yield Breach(
                where=Where(stop=period.stop, field=_begin_field(period)),
                message=f"Stop {period.stop} begins at {start}, while the listening"
                f" at stop {busy.stop} goes on until {end}.",
                remedy="Nobody can be at two stops at once: correct a time, or clear it if nobody"
                " remembers.",
            )
        if period.finished_at is not None and (
            busy is None or busy.finished_at is None or period.finished_at > busy.finished_at
        ):
            busy = period


def impossible_drive(case: Case) -> Iterator[Breach]:
    """Straight-line speed between stops. Times are often written to the minute, so
    one minute is added to the time between."""
    fastest, unit = case.protocol.max_drive_kmh, case.route.distance_unit
    stops = stops_by_number(case)
    for (_, earlier), (begin, later) in pairwise(in_time_order(case)):
        left = earlier.finished_at
        if left is None or begin < left or not {earlier.stop, later.stop} <= stops.keys():
            continue
        meters = distance_m(stops[earlier.stop].place, stops[later.stop].place)
        hours = (begin - left + _READ_TO_THE_MINUTE) / _ONE_HOUR
        if meters / 1000 / hours > fastest:
            yield Breach(
                where=Where(stop=later.stop, field=_begin_field(later)),
                message=f"From stop {earlier.stop} to stop {later.stop} it is"
                f" {distance(meters, unit)} in a straight line, and only"
                f" {duration(begin - left)} lie between: faster than {speed(fastest, unit)}.",
                remedy=f"Check the times and the numbers of the two stops. {LEAVE_IT}",
            )


def far_from_stop(case: Case) -> Iterator[Breach]:
    """The measured place gets the benefit of its stated accuracy."""
    most, unit = case.protocol.max_distance_from_stop_m, case.route.distance_unit
    if most is None:
        return
    stops = stops_by_number(case)
    for period in listened(case):
        if period.measured_at is None or period.stop not in stops:
            continue
        meters = distance_m(period.measured_at, stops[period.stop].place)
        accuracy = max(0.0, period.measured_accuracy_m or 0.0)
        if meters - accuracy > most:
            give = f" (give or take {distance(accuracy, unit)})" if accuracy else ""
            yield Breach(
                where=Where(stop=period.stop, field="measured_at"),
                message=f"The position was measured {distance(meters, unit)}{give} from stop"
                f" {period.stop}; the protocol allows {distance(most, unit)}.",
                remedy="Check that this is the right stop. If the stop cannot be used any more,"
                f" tell the coordinator. {LEAVE_IT}",
            )


def stops_too_close(case: Case) -> Iterator[Breach]:
    wanted, unit = case.protocol.min_stop_spacing_m, case.route.distance_unit
    if wanted is None:
        return
    stops = stops_by_number(case)
    surveyed = sorted({p.stop for p in listened(case)} & stops.keys())
    for place, number in enumerate(surveyed[1:], start=1):
        apart = {
            other: distance_m(stops[other].place, stops[number].place) for other in surveyed[:place]
        }
        nearest = min(apart, key=lambda other: apart[other])
        if apart[nearest] < wanted:
            yield Breach(
                where=Where(stop=number),
                message=f"Stops {nearest} and {number} are {distance(apart[nearest], unit)} apart;"
                f" the protocol asks for {distance(wanted, unit)}, so that the same callers are"
                " not counted twice.",
                remedy="Nothing to mend in this visit. The coordinator may move a stop of the "
                "route.",
            )


def _begin_field(period: Period) -> str:
    return "started_at" if period.arrived_at is None else "arrived_at"


def _times(count: int) -> str:
    return "twice" if count == 2 else f"{count} times"
