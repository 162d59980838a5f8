"""Rules on the hours of the night: dusk, the last hour, a sun that does not set."""

from __future__ import annotations

from collections.abc import Iterator

from surveys.language import gettext_noop as _
from surveys.protocol import params
from surveys.protocol.hours import earliest_start, latest_end, needs_sunset
from surveys.protocol.rules.reading import listened, stops_by_number
from surveys.protocol.rules.rule import Breach, rule
from surveys.protocol.sentences.sentence import LEAVE_IT, Sentence
from surveys.protocol.values import Case, Severity, Where

_CHECK_TIME = _("Check the time.")


@rule(
    "before-dusk",
    Severity.QUERY,
    "Listening starts no earlier than allowed.",
    Sentence(
        _(
            "Listening at stop {stop} starts at {start}; the earliest start is {earliest}"
            " ({limit})."
        ),
        (_CHECK_TIME, _("If you are at the stop, wait and start over."), LEAVE_IT),
    ),
    on_phone=True,
)
def before_dusk(case: Case) -> Iterator[Breach]:
    offset = case.protocol.earliest_start_after_sunset
    if offset is None:
        return
    for period in listened(case):
        earliest = earliest_start(case.protocol, case.sky.get(period.stop))
        if earliest is None or period.started_at is None:
            continue
        if period.started_at < earliest:
            yield Breach(
                where=Where(stop=period.stop, field="started_at"),
                params={
                    "stop": period.stop,
                    "start": params.clock(period.started_at),
                    "earliest": params.clock(earliest),
                    "limit": params.from_sunset(offset),
                },
            )


@rule(
    "after-last-hour",
    Severity.QUERY,
    "Listening ends before the latest end.",
    Sentence(
        _("Listening at stop {stop} ends at {end}; the latest end is {latest}."),
        (_CHECK_TIME, LEAVE_IT),
    ),
    on_phone=True,
)
def after_last_hour(case: Case) -> Iterator[Breach]:
    zone = case.route.time_zone
    for period in listened(case):
        latest = latest_end(case.protocol, case.sky.get(period.stop), case.visit.night, zone)
        if latest is None or period.finished_at is None:
            continue
        if period.finished_at > latest:
            end, allowed = params.clocks(period.finished_at, latest)
            yield Breach(
                where=Where(stop=period.stop, field="finished_at"),
                params={"stop": period.stop, "end": end, "latest": allowed},
            )


@rule(
    "sun-does-not-set",
    Severity.NOTE,
    "The sun sets on this night.",
    Sentence(
        _("The sun does not set or rise here this night ({stops}), so we cannot check the hours."),
        (_("Nothing to fix."), _("The coordinator will judge the hours.")),
    ),
    on_phone=True,
)
def sun_does_not_set(case: Case) -> Iterator[Breach]:
    stops = sorted(
        {p.stop for p in listened(case) if p.stop in case.sky and case.sky[p.stop].sunset is None}
    )
    if stops and needs_sunset(case.protocol):
        yield Breach(
            params={"stops": params.stops(stops)},
        )


@rule(
    "sunset-unknown",
    Severity.NOTE,
    "The sunset at every stop is known.",
    Sentence(
        _("The sunset at {stops} is not known yet, so we cannot check the hours."),
        (_("Nothing to fix."), _("The server calculates it once you send the visit.")),
    ),
    on_phone=True,
)
def sunset_unknown(case: Case) -> Iterator[Breach]:
    known = stops_by_number(case)
    stops = sorted({p.stop for p in listened(case) if p.stop in known and p.stop not in case.sky})
    if stops and needs_sunset(case.protocol):
        yield Breach(
            params={"stops": params.stops(stops)},
        )
