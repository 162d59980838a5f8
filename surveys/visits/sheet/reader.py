"""Reads a whole sheet: typed cells in, plain values and findings out."""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from functools import partial

from surveys.protocol import params
from surveys.protocol.own_fields import AskedPer, OwnField, OwnValue
from surveys.protocol.values import (
    Finding,
    Period,
    RainUnit,
    Route,
    TemperatureUnit,
    Visit,
    Weather,
    Where,
)
from surveys.protocol.weather import SKY, rain_to_mm
from surveys.visits.sheet.cells import (
    SheetParts,
    split,
)
from surveys.visits.sheet.own_fields import (
    asked_per,
    labels_of,
    read_own_fields,
    without_place,
)
from surveys.visits.sheet.part import Part, StateCodes
from surveys.visits.sheet.reading_rules import problem
from surveys.visits.sheet.sightings import (
    SightingFacts,
    read_sighting,
)
from surveys.visits.sheet.stops import (
    ReadingContext,
    StopFacts,
    read_stop,
)
from surveys.visits.sheet.texts import (
    CellError,
    rain_is_missing,
    read_integer,
    read_night,
    read_person,
    read_rain,
    read_rain_unit,
    read_temperature,
    read_text,
    read_unit,
    shortened,
)

_UNKNOWN_SHOWN = 5


@dataclass(frozen=True, kw_only=True)
class VisitFacts:
    """The facts of a visit that no rule looks at; fields as in models.Visit."""

    second_member_id: int | None = None
    second_observer: str = ""
    notes: str = ""
    rain_48h_mm: Decimal | None = None
    rain_48h_is_trace: bool = False
    rain_48h_unit: str = ""
    own_fields: Mapping[str, OwnValue] = field(default_factory=dict)


@dataclass(frozen=True, kw_only=True)
class SheetReading:
    """A sheet as far as it could be read. `stop_facts` is keyed by stop number."""

    visit: Visit
    findings: tuple[Finding, ...]
    facts: VisitFacts
    stop_facts: Mapping[int, StopFacts]
    sightings: tuple[SightingFacts, ...]


def read_sheet(
    cells: Mapping[str, str],
    *,
    route: Route,
    night: dt.date,
    catalog: Mapping[str, str] | None = None,
    photo_rows: Collection[int] = (),
    codes: StateCodes | None = None,
    companions: Collection[int] = (),
) -> SheetReading:
    """Read every cell. Never raises: a cell that cannot be read becomes a finding.

    `catalog` maps casefolded species codes and names to codes; it defaults to the species of
    the route's checklist. `photo_rows` are the sighting rows that have a photo. `codes` are those
    of the protocol in force. `companions` are the people who may be the second observer.
    """
    parts = split(cells)
    codes = codes or StateCodes()
    if catalog is None:
        catalog = checklist_catalog(route)
    of_visit, of_stop = (asked_per(route.own_fields, per) for per in AskedPer)
    findings = list(_unknown_cells(_without_place(parts, of_visit, of_stop)))
    head = Part(texts=parts.visit, problems=findings, labels=labels_of(of_visit))
    head.read("night", read_night)
    unit = head.read("temperature_unit", read_unit) or route.temperature_unit
    own = read_own_fields(head, of_visit)
    rain_unit = head.read("rain_unit", read_rain_unit) or route.rain_unit
    facts = _read_facts(head, rain_unit, own, companions)
    start = _read_weather(parts.start, "start", unit, codes, findings)
    end = _read_weather(parts.end, "end", unit, codes, findings)
    context = ReadingContext(
        night=night,
        time_zone=route.time_zone,
        unit=unit,
        species=frozenset(catalog.values()),
        codes=codes,
        own_fields=of_stop,
    )
    periods: list[Period] = []
    stop_facts: dict[int, StopFacts] = {}
    for number, texts in sorted(parts.stops.items()):
        reading = read_stop(number, texts, context)
        findings.extend(reading.problems)
        if reading.period is not None:
            periods.append(reading.period)
            stop_facts[number] = reading.facts
    sightings = _read_sightings(parts, route, catalog, photo_rows, findings)
    return SheetReading(
        visit=Visit(
            night=night, periods=tuple(periods), start=start, end=end, own_filled=frozenset(own)
        ),
        findings=tuple(findings),
        facts=facts,
        stop_facts=stop_facts,
        sightings=sightings,
    )


def typed_night(cells: Mapping[str, str]) -> dt.date | None:
    """The night typed on the sheet; None when it is missing or cannot be read."""
    try:
        return read_night(cells.get("night", ""))
    except CellError:
        return None


def checklist_catalog(route: Route) -> dict[str, str]:
    names: dict[str, str] = {}
    for species in route.checklist:
        for name in (species.common_name, species.scientific_name, species.code):
            names[name.casefold()] = species.code
    return names


def _read_facts(
    head: Part, rain_unit: RainUnit, own: Mapping[str, OwnValue], companions: Collection[int]
) -> VisitFacts:
    rain = head.read("rain_48h", partial(read_rain, unit=rain_unit), missing=rain_is_missing)
    return VisitFacts(
        second_member_id=head.read("second_member", partial(read_person, known=companions)),
        second_observer=_text(head, "second_observer", 120),
        notes=head.text("notes").strip(),
        rain_48h_mm=rain_to_mm(rain.amount, rain.unit)
        if rain and rain.amount is not None
        else None,
        rain_48h_is_trace=rain is not None and rain.is_trace,
        rain_48h_unit=rain.unit.value if rain else "",
        own_fields=own,
    )


def _text(part: Part, name: str, max_length: int) -> str:
    return part.read(name, partial(read_text, max_length=max_length)) or ""


def _read_weather(
    texts: dict[str, str],
    end: str,
    unit: TemperatureUnit,
    codes: StateCodes,
    findings: list[Finding],
) -> Weather:
    part = Part(texts=texts, problems=findings, prefix=f"{end}_", belongs_to={"end": end})
    return Weather(
        air_temperature=part.read("air_temperature", partial(read_temperature, unit=unit)),
        beaufort=part.read("beaufort", read_integer),
        sky=part.read_state("sky", SKY, codes.sky, params.sky),
    )


def _read_sightings(
    parts: SheetParts,
    route: Route,
    catalog: Mapping[str, str],
    photo_rows: Collection[int],
    findings: list[Finding],
) -> tuple[SightingFacts, ...]:
    stops = frozenset(stop.number for stop in route.stops)
    sightings = []
    for row in sorted({*parts.sightings, *photo_rows}):
        facts, problems = read_sighting(
            row,
            parts.sightings.get(row, {}),
            stops=stops,
            catalog=catalog,
            has_photo=row in photo_rows,
        )
        findings.extend(problems)
        if facts is not None:
            sightings.append(facts)
    return tuple(sightings)


def _without_place(
    parts: SheetParts, of_visit: Iterable[OwnField], of_stop: Iterable[OwnField]
) -> list[str]:
    """Addresses of filled cells that the sheet does not have."""
    own = without_place(parts.visit, of_visit)
    for number, texts in parts.stops.items():
        own += (f"stops.{number}.{name}" for name in without_place(texts, of_stop))
    return sorted((*parts.unknown, *own))


def _unknown_cells(unknown: list[str]) -> tuple[Finding, ...]:
    if not unknown:
        return ()
    shown = [{"quoted": shortened(address)} for address in unknown[:_UNKNOWN_SHOWN]]
    more = len(unknown) - len(shown)
    if not more:
        return (problem("cell-unknown", Where(), "", {"cells": {"and": shown}}),)
    found = {"cells": {"list": shown}, "more": more}
    return (problem("cell-unknown", Where(), "more", found),)
