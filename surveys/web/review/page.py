"""The page of a visit under review: findings with their marks, tables, map, decisions."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext_lazy

from surveys.dates import clock
from surveys.language import gettext, said
from surveys.models import (
    ListeningPeriod,
    Species,
    Stop,
    StoredFinding,
    Visit,
    VisitState,
)
from surveys.programs.versions import units_of
from surveys.protocol.hours import route_hours
from surveys.protocol.limits.words import limits_in_words
from surveys.protocol.sky import stop_sky
from surveys.protocol.values import (
    Place,
    Severity,
    TemperatureUnit,
)
from surveys.protocol.weather import show_rain, show_temperature
from surveys.protocol.words import duration
from surveys.seasons.visits import (
    NOT_REACHED,
    GridCell,
    GridRow,
    VisitGrid,
)
from surveys.visits.finding import findings_by_cell
from surveys.visits.loading import protocol_values
from surveys.web.maps import route_map
from surveys.web.review.forms import (
    NoteForm,
    SettleForm,
)

_LETTERS = {"refuse": "R", "query": "Q", "note": "N"}
_YES_NO = {True: "yes", False: "no", None: ""}
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
class Card:
    """A finding with its mark (Q1, N2) and, while it can be settled, its form."""

    mark: str
    finding: StoredFinding
    form: SettleForm | None

    @property
    def settled(self) -> bool:
        return bool(self.finding.settlement)


@dataclass(frozen=True, kw_only=True)
class HeardCell:
    """One species at one stop."""

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


@dataclass(frozen=True, kw_only=True)
class ConditionRow:
    """Times and conditions at a stop, or at either end of the visit."""

    name: str
    cells: tuple[tuple[str, tuple[Card, ...]], ...]

    @property
    def is_filled(self) -> bool:
        return any(text or cards for text, cards in self.cells)


def make_cards(findings: Iterable[StoredFinding], *, open_state: bool) -> tuple[Card, ...]:
    """Findings with their marks, queries first, each kind by stop."""
    kinds = list(_LETTERS)
    numbers = dict.fromkeys(kinds, 0)
    cards = []
    for finding in sorted(
        findings,
        key=lambda f: (kinds.index(f.severity), f.stop.number if f.stop else 0, f.pk),
    ):
        numbers[finding.severity] += 1
        settleable = open_state and finding.severity == Severity.QUERY
        cards.append(
            Card(
                mark=f"{_LETTERS[finding.severity]}{numbers[finding.severity]}",
                finding=finding,
                form=SettleForm(finding) if settleable else None,
            )
        )
    return tuple(cards)


def cards_by_cell(cards: Iterable[Card]) -> dict[str, tuple[Card, ...]]:
    """Cards by the address of the cell that their finding is about."""
    by_finding = {card.finding.pk: card for card in cards}
    places = findings_by_cell(card.finding for card in by_finding.values())
    return {
        address: tuple(by_finding[finding.pk] for finding in findings)
        for address, findings in places.items()
    }


def heard_rows(
    grid: VisitGrid, cards: tuple[Card, ...], cards_by_address: Mapping[str, tuple[Card, ...]]
) -> tuple[HeardRow, ...]:
    """The grid of stops and species. Cards about no cell of either table are put at their stop."""
    shown_addresses = {
        *(_call(row, species) for row in grid.rows if row.listened for species in grid.species),
        *(_condition(row, name) for row in grid.rows if row.period for name, _, _ in _CONDITIONS),
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
                HeardCell(cell=cell, cards=cards_by_address.get(_call(row, species), ()))
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


def _condition(row: GridRow, name: str) -> str:
    return f"stops.{row.stop.number}.{name}"


def _silence_reason(row: GridRow) -> str:
    if row.period is None:
        return gettext("Not reached: missing, not silent.")
    if not row.listened:
        return said("Skipped. {row}", row=row.period.skip_reason or "No reason given.")
    return ""


@dataclass(frozen=True, kw_only=True)
class _Formatter:
    """Formats values in the program's time zone and unit."""

    zone: str
    unit: TemperatureUnit

    def clock(self, instant: Any) -> str:
        return clock(instant, self.zone) if instant else ""

    def degrees(self, celsius: Any) -> str:
        return "" if celsius is None else show_temperature(celsius, self.unit)

    def number(self, value: Any) -> str:
        return "" if value is None else str(value)


def _listened(period: ListeningPeriod, formatter: _Formatter) -> str:
    if not period.started_at or not period.finished_at:
        return ""
    return duration(period.finished_at - period.started_at)


_FormatValue = Callable[[ListeningPeriod, _Formatter], str]
_CONDITIONS: tuple[tuple[str, str, _FormatValue], ...] = (
    ("arrived_at", gettext_lazy("Arrived"), lambda p, show: show.clock(p.arrived_at)),
    ("started_at", gettext_lazy("Start"), lambda p, show: show.clock(p.started_at)),
    ("finished_at", gettext_lazy("End"), lambda p, show: show.clock(p.finished_at)),
    ("listened", gettext_lazy("Start to end"), _listened),
    (
        "paused_minutes",
        gettext_lazy("Pause, min"),
        lambda p, show: f"{p.paused_s / 60:g}" if p.paused_s else "",
    ),
    ("air_temperature", gettext_lazy("Air"), lambda p, show: show.degrees(p.air_temperature_c)),
    (
        "water_temperature",
        gettext_lazy("In the water"),
        lambda p, show: show.degrees(p.water_temperature_c),
    ),
    ("beaufort", gettext_lazy("Wind"), lambda p, show: show.number(p.beaufort)),
    ("sky", gettext_lazy("Sky"), lambda p, show: p.get_sky_display()),
    ("noise", gettext_lazy("Noise"), lambda p, show: p.get_noise_display()),
    ("cars", gettext_lazy("Cars"), lambda p, show: show.number(p.cars)),
    ("interrupted", gettext_lazy("Interrupted"), lambda p, show: _YES_NO[p.interrupted]),
    ("moonlight", gettext_lazy("Moonlight"), lambda p, show: _YES_NO[p.moonlight]),
    ("water_tonight", gettext_lazy("Water"), lambda p, show: p.get_water_tonight_display()),
    (
        "latitude",
        gettext_lazy("Position within"),
        lambda p, show: f"{p.measured_accuracy_m:.0f} m" if p.measured_accuracy_m else "",
    ),
    ("note", gettext_lazy("Note"), lambda p, show: p.note),
)


def conditions(
    visit: Visit, grid: VisitGrid, cards_by_address: Mapping[str, tuple[Card, ...]]
) -> tuple[tuple[str, ...], tuple[ConditionRow, ...]]:
    """Headings and rows of times and conditions, without empty rows and columns."""
    formatter = _Formatter(
        zone=visit.route.program.time_zone,
        unit=TemperatureUnit(visit.route.program.temperature_unit),
    )
    start = _end_row(visit, "start", gettext("At the start"), formatter, cards_by_address)
    stops = [_condition_row(row, formatter, cards_by_address) for row in grid.rows if row.period]
    end = _end_row(visit, "end", gettext("At the end"), formatter, cards_by_address)
    rows = [row for row in (start, *stops, end) if row.is_filled]
    used = [
        column
        for column in range(len(_CONDITIONS))
        if any(text or cards for text, cards in (row.cells[column] for row in rows))
    ]
    return (
        tuple(_CONDITIONS[column][1] for column in used),
        tuple(
            ConditionRow(name=row.name, cells=tuple(row.cells[column] for column in used))
            for row in rows
        ),
    )


def _condition_row(
    row: GridRow, formatter: _Formatter, cards_by_address: Mapping[str, tuple[Card, ...]]
) -> ConditionRow:
    return ConditionRow(
        name=said("Stop {number}", number=row.stop.number),
        cells=tuple(
            (read(row.period, formatter), cards_by_address.get(_condition(row, name), ()))
            for name, _, read in _CONDITIONS
        ),
    )


def _end_row(
    visit: Visit,
    end: str,
    name: str,
    formatter: _Formatter,
    cards_by_address: Mapping[str, tuple[Card, ...]],
) -> ConditionRow:
    texts = {
        "air_temperature": formatter.degrees(getattr(visit, f"{end}_air_temperature_c")),
        "beaufort": formatter.number(getattr(visit, f"{end}_beaufort")),
        "sky": getattr(visit, f"get_{end}_sky_display")(),
    }
    return ConditionRow(
        name=name,
        cells=tuple(
            (texts.get(field, ""), cards_by_address.get(f"{end}.{field}", ()))
            for field, _, _ in _CONDITIONS
        ),
    )


def review_facts(visit: Visit, grid: VisitGrid) -> dict[str, Any]:
    """The facts beside the grid: observer and season, hours of the night, limits."""
    program = visit.route.program
    protocol = protocol_values(visit.protocol_version)
    zone = program.time_zone
    formatter = _Formatter(zone=zone, unit=TemperatureUnit(program.temperature_unit))
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
        (gettext("Second observer"), visit.second_observer, ""),
        (gettext("Season"), visit.season_year, visit.window or gettext("outside every window")),
        (gettext("Entered by"), visit.get_source_display(), ""),
        (
            gettext("Rain in the 48 h before"),
            show_rain(visit.rain_48h_mm, program.rain_unit, is_trace=visit.rain_48h_is_trace),
            "",
        ),
        (gettext("Days since the last rain"), formatter.number(visit.days_since_rain), ""),
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
