"""The page of a visit under review: findings with their marks, tables, map, decisions."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext_lazy

from accounts.models import Membership
from surveys.language import gettext, said
from surveys.models import (
    Species,
    Stop,
    Visit,
    VisitState,
)
from surveys.programs.versions import units_of
from surveys.protocol.hours import route_hours
from surveys.protocol.limits.words import limits_in_words
from surveys.protocol.own_fields import OwnField
from surveys.protocol.sky import stop_sky
from surveys.protocol.values import (
    DistanceUnit,
    Place,
    TemperatureUnit,
)
from surveys.protocol.weather import show_rain
from surveys.seasons.visits import (
    NOT_REACHED,
    GridCell,
    GridRow,
    VisitGrid,
)
from surveys.visits.access import second_observer_for
from surveys.visits.loading import protocol_values
from surveys.visits.own_values import own_facts
from surveys.web.maps import route_map
from surveys.web.review.cards import Card
from surveys.web.review.conditions import Formatter, condition_addresses
from surveys.web.review.forms import (
    NoteForm,
)

Fact = tuple[str, object, object]


@dataclass(frozen=True, kw_only=True)
class Decision:
    """A verb that takes a note: its labels, and the states from which it is possible."""

    verb: str
    button: str
    question: str
    label: str
    states: tuple[str, ...]


DECISIONS = {
    decision.verb: decision
    for decision in (
        Decision(
            verb="send_back",
            button=gettext_lazy("Send back"),
            question=gettext_lazy("Send the visit back to the observer?"),
            label=gettext_lazy("Note to the observer (also sent by email)"),
            states=(VisitState.SUBMITTED,),
        ),
        Decision(
            verb="set_aside",
            button=gettext_lazy("Set aside"),
            question=gettext_lazy("Set the visit aside?"),
            label=gettext_lazy("Why the visit will not be used"),
            states=(VisitState.SUBMITTED,),
        ),
        Decision(
            verb="reopen",
            button=gettext_lazy("Reopen"),
            question=gettext_lazy("Reopen the visit?"),
            label=gettext_lazy("Why the visit is reopened"),
            states=(VisitState.ACCEPTED, VisitState.SET_ASIDE),
        ),
    )
}


@dataclass(frozen=True, kw_only=True)
class HeardCell:
    """One species at one stop."""

    name: str
    cell: GridCell
    cards: tuple[Card, ...]


@dataclass(frozen=True, kw_only=True)
class HeardRow:
    """One stop: its calls, or in `silent` the reason for having none."""

    stop: Stop
    state: str
    silent: str
    cells: tuple[HeardCell, ...]
    cards: tuple[Card, ...]
    left_out: bool


def heard_rows(
    grid: VisitGrid,
    cards: tuple[Card, ...],
    cards_by_address: Mapping[str, tuple[Card, ...]],
    own_fields: tuple[OwnField, ...],
) -> tuple[HeardRow, ...]:
    """The grid of stops and species. Cards about no cell of either table are put at their stop."""
    shown_addresses = {
        *(_call(row, species) for row in grid.rows if row.listened for species in grid.species),
        *condition_addresses(grid, own_fields),
    }
    shown_marks = {
        card.mark for address in shown_addresses for card in cards_by_address.get(address, ())
    }
    return tuple(
        HeardRow(
            stop=row.stop,
            state="" if row.listened else NOT_REACHED,
            silent=_silence_reason(row),
            cells=tuple(
                HeardCell(
                    name=species.name,
                    cell=cell,
                    cards=cards_by_address.get(_call(row, species), ()),
                )
                for species, cell in zip(grid.species, row.cells, strict=True)
            ),
            cards=tuple(
                card
                for card in cards
                if card.finding.stop_id == row.stop.pk and card.mark not in shown_marks
            ),
            left_out=row.left_out,
        )
        for row in grid.rows
    )


def _call(row: GridRow, species: Species) -> str:
    return f"stops.{row.stop.number}.calls.{species.code}"


def _silence_reason(row: GridRow) -> str:
    if row.period is None:
        return gettext("Not reached: missing, not silent.")
    if not row.listened:
        return said("Skipped. {row}", row=row.period.skip_reason or "No reason given.")
    return ""


def review_facts(
    member: Membership, visit: Visit, grid: VisitGrid, own_fields: tuple[OwnField, ...]
) -> dict[str, Any]:
    """The facts beside the grid: observer and season, hours of the night, limits."""
    program = visit.route.program
    protocol = protocol_values(visit.protocol_version)
    zone = program.time_zone
    formatter = Formatter(
        zone=zone,
        unit=TemperatureUnit(program.temperature_unit),
        distance_unit=DistanceUnit(program.distance_unit),
    )
    places = [row.stop.place for row in grid.rows]
    skies = [stop_sky(Place(latitude=at.y, longitude=at.x), visit.night, zone) for at in places]
    sky = skies[0] if skies else None
    allowed = route_hours(protocol, skies, visit.night, zone)
    periods = [row.period for row in grid.rows if row.period]
    first = min((at for p in periods if (at := p.arrived_at or p.started_at)), default=None)
    last = max((p.finished_at for p in periods if p.finished_at), default=None)
    hours: list[Fact] = [
        (
            gettext("Sunset"),
            formatter.clock(sky.sunset if sky else None),
            gettext("at the first stop"),
        ),
        (
            gettext("Earliest start"),
            formatter.clock(allowed.earliest_start),
            gettext("by the protocol"),
        ),
        (gettext("First arrival"), formatter.clock(first), ""),
        (gettext("Last end"), formatter.clock(last), ""),
        (
            gettext("Latest end"),
            formatter.clock(allowed.latest_end),
            gettext("by the protocol"),
        ),
        (
            gettext("Listened"),
            said(
                "{sum} of {rows}", sum=sum(row.listened for row in grid.rows), rows=len(grid.rows)
            ),
            "stops",
        ),
    ]
    facts: list[Fact] = [
        (gettext("Observer"), visit.observer.name, ""),
        (gettext("Second observer"), second_observer_for(member, visit), ""),
        (gettext("Season"), visit.season_year, visit.window or gettext("outside every window")),
        (gettext("Entered from"), visit.get_source_display(), ""),
        (
            gettext("Rain in the 48 h before"),
            show_rain(visit.rain_48h_mm, program.rain_unit, is_trace=visit.rain_48h_is_trace),
            "",
        ),
        *own_facts(own_fields, visit.own_fields),
    ]
    return {
        "hours": [fact for fact in hours if fact[1]],
        "facts": [fact for fact in facts if fact[1]],
        "limits": limits_in_words(protocol, units_of(program)),
    }


def review_map(
    visit: Visit, rows: Iterable[HeardRow], cards: tuple[Card, ...], here: str
) -> dict[str, Any]:
    """The route's map; stops are marked when they have findings or were not reached."""
    by_number = {row.stop.number: row for row in rows}
    collection = route_map(visit.route, [row.stop for row in by_number.values()])
    for feature in collection["features"]:
        facts = feature["properties"]
        if facts["kind"] != "stop":
            continue
        row = by_number[facts["number"]]
        cards_here = [card for card in cards if card.finding.stop_id == row.stop.pk]
        facts["state"] = "finding" if cards_here else row.state or "done"
        facts["lines"] = [
            *([row.silent] if row.silent else []),
            *(f"{card.mark}: {card.finding.message}" for card in cards_here),
        ]
        if cards_here:
            facts["url"] = f"{here}#finding-{cards_here[0].finding.pk}"
            facts["link"] = said("Go to {mark}", mark=cards_here[0].mark)
    return collection


def decision_forms(visit: Visit) -> list[tuple[Decision, NoteForm]]:
    """The decisions possible in the visit's state, each with an empty form for the note."""
    return [
        (decision, NoteForm(decision.verb, decision.label))
        for decision in DECISIONS.values()
        if visit.state in decision.states
    ]
