"""Rules on the stops of a route: which, in which order, how far apart."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from itertools import pairwise

from surveys.language import gettext_noop as _
from surveys.language import ngettext_lazy
from surveys.protocol import params
from surveys.protocol.distance import distance_m
from surveys.protocol.rules.reading import (
    in_time_order,
    listened,
    stops_by_number,
)
from surveys.protocol.rules.rule import Breach, rule
from surveys.protocol.sentences.sentence import LEAVE_IT, Sentence
from surveys.protocol.values import (
    Case,
    Severity,
    StopUse,
    Where,
)


@rule(
    "unknown-stop",
    Severity.REFUSE,
    "Every stop belongs to the route.",
    Sentence(
        _("Route {route} has no stop {stop}."),
        (_("Correct the number."), _("The route has {stops}.")),
    ),
    variants={
        "no-stops": Sentence(
            _("Route {route} has no stop {stop}."),
            (_("Check the date."), _("The route has no stops on this night.")),
        )
    },
    on_phone=True,
)
def unknown_stop(case: Case) -> Iterator[Breach]:
    known = stops_by_number(case)
    for number in sorted({p.stop for p in case.visit.periods} - known.keys()):
        yield Breach(
            where=Where(stop=number),
            variant="" if known else "no-stops",
            params={
                "route": case.route.name,
                "stop": number,
                **({"stops": params.stops(known)} if known else {}),
            },
        )


@rule(
    "stop-changed",
    Severity.QUERY,
    "Every stop is part of the route on the night.",
    Sentence(
        _("Stop {stop} ({name}) is not part of the route on this night."),
        (_("If you listened there, leave it: the coordinator decides whether it counts."),),
    ),
    variants={
        "replaced": Sentence(
            _("Stop {stop} has moved. This visit was surveyed at its old place ({name})."),
            (_("If you listened there, leave it: the coordinator decides whether it counts."),),
        )
    },
    on_phone=True,
)
def stop_changed(case: Case) -> Iterator[Breach]:
    """A route may change between the evening on which it was taken along and the survey."""
    stops = stops_by_number(case)
    for number in sorted({p.stop for p in listened(case)} & stops.keys()):
        stop = stops[number]
        if stop.use is not StopUse.IN_USE:
            yield Breach(
                where=Where(stop=number),
                variant="replaced" if stop.use is StopUse.REPLACED else "",
                params={"stop": number, "name": stop.name},
            )


@rule(
    "twice-the-same-stop",
    Severity.REFUSE,
    "A stop is on the sheet once.",
    Sentence(
        _("Stop {stop} is on the sheet {times}."),
        (_("Keep one of them, or correct the number of the stop."),),
    ),
    on_phone=True,
)
def twice_the_same_stop(case: Case) -> Iterator[Breach]:
    counts = Counter(period.stop for period in case.visit.periods)
    for number, count in sorted(counts.items()):
        if count > 1:
            yield Breach(
                where=Where(stop=number),
                params={"stop": number, "times": params.times(count)},
            )


@rule(
    "too-few-stops",
    Severity.QUERY,
    "Enough stops were surveyed.",
    Sentence(
        ngettext_lazy(
            "You surveyed {listened} stop; the protocol asks for at least {wanted}.",
            "You surveyed {listened} stops; the protocol asks for at least {wanted}.",
            "listened",
        ),
        (_("If you surveyed more stops, add them."), LEAVE_IT),
    ),
    on_phone=True,
)
def too_few_stops(case: Case) -> Iterator[Breach]:
    number = len({p.stop for p in listened(case)} & stops_by_number(case).keys())
    wanted = case.protocol.min_stops
    if number < wanted:
        yield Breach(
            params={"listened": number, "wanted": wanted},
        )


@rule(
    "stop-left-blank",
    Severity.NOTE,
    "Every stop is surveyed or marked as skipped.",
    Sentence(
        _("You left {stops} blank. A blank stop counts as not surveyed, not as silent."),
        (_("If no one listened there, mark it as skipped and say why."),),
    ),
    on_phone=True,
)
def stop_left_blank(case: Case) -> Iterator[Breach]:
    written = {period.stop for period in case.visit.periods}
    blank = sorted(stops_by_number(case).keys() - written)
    if blank:
        yield Breach(
            params={"stops": params.stops(blank)},
        )


@rule(
    "stops-out-of-order",
    Severity.QUERY,
    "The stops were surveyed in the order of their numbers.",
    Sentence(
        _(
            "By their times, you surveyed the stops in the order {order};"
            " the protocol asks for the order of their numbers."
        ),
        (_("Check the times and the numbers of the stops."), LEAVE_IT),
    ),
    on_phone=True,
)
def stops_out_of_order(case: Case) -> Iterator[Breach]:
    if not case.protocol.stops_in_order:
        return
    order = [period.stop for _, period in in_time_order(case)]
    early = next((later for earlier, later in pairwise(order) if later < earlier), None)
    if early is not None:
        yield Breach(
            where=Where(stop=early, field="started_at"),
            params={"order": params.all_of(order)},
        )


@rule(
    "far-from-stop",
    Severity.QUERY,
    "The observer listened at the stop.",
    Sentence(
        _("You were {distance} from stop {stop}; the protocol allows {most}."),
        (
            _("Check that this is the right stop."),
            _("If you can no longer use the stop, tell the coordinator."),
            LEAVE_IT,
        ),
    ),
    variants={
        "accuracy": Sentence(
            _(
                "You were {distance} (give or take {accuracy}) from stop {stop};"
                " the protocol allows {most}."
            ),
            (
                _("Check that this is the right stop."),
                _("If you can no longer use the stop, tell the coordinator."),
                LEAVE_IT,
            ),
        )
    },
    on_phone=True,
)
def far_from_stop(case: Case) -> Iterator[Breach]:
    """The measured place gets the benefit of its stated accuracy."""
    most = case.protocol.max_distance_from_stop_m
    if most is None:
        return
    stops = stops_by_number(case)
    for period in listened(case):
        if period.measured_at is None or period.stop not in stops:
            continue
        meters = distance_m(period.measured_at, stops[period.stop].place)
        accuracy = max(0.0, period.measured_accuracy_m or 0.0)
        if meters - accuracy > most:
            yield Breach(
                where=Where(stop=period.stop, field="measured_at"),
                variant="accuracy" if accuracy else "",
                params={
                    "distance": params.distance(meters),
                    **({"accuracy": params.distance(accuracy)} if accuracy else {}),
                    "stop": period.stop,
                    "most": params.distance(most),
                },
            )


@rule(
    "stops-too-close",
    Severity.NOTE,
    "The stops are far enough apart.",
    Sentence(
        _(
            "Stops {nearest} and {stop} are {distance} apart; the protocol asks for {wanted},"
            " so that you do not hear the same callers twice."
        ),
        (
            _("Nothing to fix in this visit."),
            _("The coordinator can move a stop."),
        ),
    ),
    on_phone=True,
)
def stops_too_close(case: Case) -> Iterator[Breach]:
    wanted = case.protocol.min_stop_spacing_m
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
                params={
                    "nearest": nearest,
                    "stop": number,
                    "distance": params.distance(apart[nearest]),
                    "wanted": params.distance(wanted),
                },
            )
