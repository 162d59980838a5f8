"""Rules on the species written down at each stop."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

from surveys.language import gettext_noop as _
from surveys.protocol import params
from surveys.protocol.rules.rule import Breach, rule
from surveys.protocol.seasons import in_days
from surveys.protocol.sentences.sentence import LEAVE_IT, Sentence
from surveys.protocol.values import (
    CallRecord,
    Case,
    Period,
    PeriodStatus,
    Severity,
    Where,
)
from surveys.protocol.weather import CALL_INDEX

_HEARD = (1, 2, 3)


@rule(
    "index-impossible",
    Severity.REFUSE,
    "A call index is 0, 1, 2 or 3.",
    Sentence(
        _("{species} at stop {stop} has call index {index}, which is not on the scale."),
        (
            _("Choose 0 (not heard), 1, 2 or 3 (full chorus)."),
            _("It is not a count."),
        ),
    ),
    on_phone=True,
)
def index_impossible(case: Case) -> Iterator[Breach]:
    for period, call in _calls(case):
        if call.index is not None and call.index not in CALL_INDEX:
            yield Breach(
                where=_where(period, call),
                params={
                    "species": params.species(call.species),
                    "stop": period.stop,
                    "index": call.index,
                },
            )


@rule(
    "species-twice-at-stop",
    Severity.REFUSE,
    "A species is on the sheet once at a stop.",
    Sentence(
        _("{species} is on the sheet more than once at stop {stop}."),
        (_("Keep one of them: the highest call index you heard."),),
    ),
    on_phone=True,
)
def species_twice_at_stop(case: Case) -> Iterator[Breach]:
    for period in case.visit.periods:
        counts = Counter(call.species for call in period.calls)
        for call in {call.species: call for call in period.calls}.values():
            if counts[call.species] > 1:
                yield Breach(
                    where=_where(period, call),
                    params={"species": params.species(call.species), "stop": period.stop},
                )


@rule(
    "calls-at-skipped-stop",
    Severity.REFUSE,
    "A skipped stop has no species.",
    Sentence(
        _("Stop {stop} is marked as skipped, but has a call index for {species}."),
        (
            _("If someone listened, mark the stop as surveyed."),
            _("If not, clear the species."),
        ),
    ),
    on_phone=True,
)
def calls_at_skipped_stop(case: Case) -> Iterator[Breach]:
    for period, call in _calls(case):
        if not _is_listened(period) and (call.index is not None or call.not_sure):
            yield Breach(
                where=_where(period, call),
                params={"species": params.species(call.species), "stop": period.stop},
            )


@rule(
    "index-missing",
    Severity.QUERY,
    "Every species on the sheet has a call index.",
    Sentence(
        _("{species} at stop {stop} is on the sheet but has no call index."),
        (_("Choose 0 if you did not hear it, 1 to 3 if you did, or “heard, not sure”."),),
    ),
    on_phone=True,
)
def index_missing(case: Case) -> Iterator[Breach]:
    for period, call in _calls(case):
        if _is_listened(period) and call.index is None and not call.not_sure:
            yield Breach(
                where=_where(period, call),
                params={"species": params.species(call.species), "stop": period.stop},
            )


@rule(
    "distance-missing",
    Severity.QUERY,
    "Every call is marked near or far if the protocol has a listening radius.",
    Sentence(
        _("{species} at stop {stop} is not marked near or far."),
        (
            _("Near: you heard at least one within {radius} of the stop. Far: all were beyond."),
            _("If you cannot tell, leave it; the coordinator decides."),
        ),
    ),
    on_phone=True,
)
def distance_missing(case: Case) -> Iterator[Breach]:
    radius = case.protocol.listening_radius_m
    if radius is None:
        return
    for period, call in _calls(case):
        if _is_listened(period) and call.index in _HEARD and call.distance is None:
            yield Breach(
                where=_where(period, call),
                params={
                    "species": params.species(call.species),
                    "stop": period.stop,
                    "radius": params.distance(radius),
                },
            )


@rule(
    "distance-not-asked",
    Severity.NOTE,
    "Near and far are for protocols with a radius.",
    Sentence(
        _("{species} at stop {stop} is marked near or far, but the protocol has no radius."),
        (_("The call counts at any distance. You can leave the mark."),),
    ),
    on_phone=True,
)
def distance_not_asked(case: Case) -> Iterator[Breach]:
    if case.protocol.listening_radius_m is not None:
        return
    for period, call in _calls(case):
        if call.distance is not None:
            yield Breach(
                where=_where(period, call),
                params={"species": params.species(call.species), "stop": period.stop},
            )


@rule(
    "species-off-checklist",
    Severity.QUERY,
    "Every species is on the checklist of the route.",
    Sentence(
        _(
            "{species} at stop {stop} is not on the checklist of this route, so nights without a"
            " record of it do not count as zeros."
        ),
        (
            _("Check the species."),
            _("A recording helps the coordinator to confirm it."),
            LEAVE_IT,
        ),
    ),
    on_phone=True,
)
def species_off_checklist(case: Case) -> Iterator[Breach]:
    """A route without a checklist has nothing to be off; a plain 0 says nothing new."""
    known = {species.code for species in case.route.checklist}
    if not known:
        return
    for period, call in _calls(case):
        if call.species not in known and call.index != 0:
            yield Breach(
                where=_where(period, call),
                params={"species": params.species(call.species), "stop": period.stop},
            )


@rule(
    "species-out-of-season",
    Severity.QUERY,
    "Every species was heard in its calling season.",
    Sentence(
        _(
            "{species} at stop {stop} on the night of {night} is outside its calling season"
            " here, {season}."
        ),
        (
            _("Check the species and the date."),
            _("Early or late calling does happen; a recording helps."),
            LEAVE_IT,
        ),
    ),
    on_phone=True,
)
def species_out_of_season(case: Case) -> Iterator[Breach]:
    seasons = {species.code: species.season for species in case.route.checklist}
    for period, call in _calls(case):
        season = seasons.get(call.species)
        if season is None or call.not_sure or not call.index or call.index < 0:
            continue
        if not in_days(case.visit.night, *season):
            yield Breach(
                where=_where(period, call),
                params={
                    "species": params.species(call.species),
                    "stop": period.stop,
                    "night": params.date(case.visit.night),
                    "season": params.season(season),
                },
            )


def _calls(case: Case) -> Iterator[tuple[Period, CallRecord]]:
    for period in case.visit.periods:
        for call in period.calls:
            yield period, call


def _is_listened(period: Period) -> bool:
    return period.status is PeriodStatus.LISTENED


def _where(period: Period, call: CallRecord) -> Where:
    return Where(stop=period.stop, field="index", species=call.species)
