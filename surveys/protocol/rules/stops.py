"""Rules on the stops of a route: which, in which order, how far apart."""

from __future__ import annotations

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
from surveys.protocol.rules.rule import Breach, rule
from surveys.protocol.values import (
    Case,
    Severity,
    Where,
)
from surveys.protocol.words import (
    distance,
    listed,
    stop_numbers,
)


@rule("unknown-stop", Severity.REFUSE, "Every stop belongs to the route.")
def unknown_stop(case: Case) -> Iterator[Breach]:
    known = stops_by_number(case)
    has = stop_numbers(sorted(known)) if known else "no stops on this night"
    for number in sorted({p.stop for p in case.visit.periods} - known.keys()):
        yield Breach(
            where=Where(stop=number),
            message=f"Route {case.route.name} has no stop {number}.",
            remedy=f"Correct the number. The route has {has}.",
        )


@rule("twice-the-same-stop", Severity.REFUSE, "A stop is written down once in a visit.")
def twice_the_same_stop(case: Case) -> Iterator[Breach]:
    counts = Counter(period.stop for period in case.visit.periods)
    for number, count in sorted(counts.items()):
        if count > 1:
            yield Breach(
                where=Where(stop=number),
                message=f"Stop {number} is written down {_times(count)} in this visit.",
                remedy="Keep one of them, or correct the number of the stop.",
            )


@rule("too-few-stops", Severity.QUERY, "Enough stops were listened to.")
def too_few_stops(case: Case) -> Iterator[Breach]:
    number = len({p.stop for p in listened(case)} & stops_by_number(case).keys())
    wanted = case.protocol.min_stops
    if number < wanted:
        yield Breach(
            message=f"{number} {'stop was' if number == 1 else 'stops were'} listened to;"
            f" the protocol asks for at least {wanted}.",
            remedy=f"If more stops were listened to, write them down. {LEAVE_IT}",
        )


@rule("stop-left-blank", Severity.NOTE, "Every stop is listened to or marked as skipped.")
def stop_left_blank(case: Case) -> Iterator[Breach]:
    written = {period.stop for period in case.visit.periods}
    blank = sorted(stops_by_number(case).keys() - written)
    if blank:
        yield Breach(
            message=f"Nothing is written down for {stop_numbers(blank)}. A blank stop counts as not"
            " surveyed, not as silent.",
            remedy="If nobody listened there, mark it as skipped and say why.",
        )


@rule(
    "stops-out-of-order", Severity.QUERY, "The stops were surveyed in the order of their numbers."
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


@rule("far-from-stop", Severity.QUERY, "The listening took place at the stop.", on_phone=True)
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


@rule("stops-too-close", Severity.NOTE, "The stops lie far enough apart.")
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


def _times(count: int) -> str:
    return "twice" if count == 2 else f"{count} times"
