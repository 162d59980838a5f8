"""Times and conditions of a visit under review, stop by stop."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import partial
from typing import Any

from django.utils.translation import gettext_lazy

from surveys.dates import clock
from surveys.language import gettext, said
from surveys.models import ListeningPeriod, Visit
from surveys.protocol.own_fields import AskedPer, OwnField
from surveys.protocol.values import DistanceUnit, TemperatureUnit
from surveys.protocol.weather import show_temperature
from surveys.protocol.words import distance, duration
from surveys.seasons.visits import GridRow, VisitGrid
from surveys.visits.own_values import value_in_words
from surveys.web.review.cards import Card

_YES_NO = {True: gettext_lazy("yes"), False: gettext_lazy("no"), None: ""}


@dataclass(frozen=True, kw_only=True)
class ConditionRow:
    """Times and conditions at a stop, or at either end of the visit."""

    name: str
    cells: tuple[tuple[str, tuple[Card, ...]], ...]
    headings: tuple[str, ...] = ()

    @property
    def labeled(self) -> Iterator[tuple[str, str, tuple[Card, ...]]]:
        """Each cell under its heading, which a phone shows beside it."""
        for heading, (text, cards) in zip(self.headings, self.cells, strict=True):
            yield heading, text, cards

    @property
    def is_filled(self) -> bool:
        return any(text or cards for text, cards in self.cells)


@dataclass(frozen=True, kw_only=True)
class Formatter:
    """Formats values in the program's time zone and units."""

    zone: str
    unit: TemperatureUnit
    distance_unit: DistanceUnit

    def clock(self, instant: Any) -> str:
        return clock(instant, self.zone) if instant else ""

    def degrees(self, celsius: Any) -> str:
        return "" if celsius is None else show_temperature(celsius, self.unit)

    def length(self, meters: Any) -> str:
        return "" if meters is None else distance(meters, self.distance_unit)

    def number(self, value: Any) -> str:
        return "" if value is None else str(value)


def _listened(period: ListeningPeriod, formatter: Formatter) -> str:
    if not period.started_at or not period.finished_at:
        return ""
    return duration(period.finished_at - period.started_at)


# Name of the cell, heading, and what is shown of a period.
_Condition = tuple[str, str, Callable[[ListeningPeriod, Formatter], str]]
_CONDITIONS: tuple[_Condition, ...] = (
    ("arrived_at", gettext_lazy("Arrived"), lambda p, show: show.clock(p.arrived_at)),
    ("started_at", gettext_lazy("Start"), lambda p, show: show.clock(p.started_at)),
    ("finished_at", gettext_lazy("End"), lambda p, show: show.clock(p.finished_at)),
    ("listened", gettext_lazy("Start to end"), _listened),
    (
        "paused_minutes",
        gettext_lazy("Pause, min"),
        lambda p, show: f"{p.paused_s / 60:g}" if p.paused_s else "",
    ),
    (
        "air_temperature",
        gettext_lazy("Air temperature"),
        lambda p, show: show.degrees(p.air_temperature_c),
    ),
    (
        "water_temperature",
        gettext_lazy("Water temperature"),
        lambda p, show: show.degrees(p.water_temperature_c),
    ),
    ("beaufort", gettext_lazy("Wind"), lambda p, show: show.number(p.beaufort)),
    ("sky", gettext_lazy("Sky"), lambda p, show: p.get_sky_display()),
    ("noise", gettext_lazy("Noise"), lambda p, show: p.get_noise_display()),
    ("interrupted", gettext_lazy("Interrupted"), lambda p, show: _YES_NO[p.interrupted]),
    (
        "water_tonight",
        gettext_lazy("Water level"),
        lambda p, show: p.get_water_tonight_display(),
    ),
    (
        "latitude",
        gettext_lazy("Position within"),
        lambda p, show: show.length(p.measured_accuracy_m or None),
    ),
    ("note", gettext_lazy("Note"), lambda p, show: p.note),
)


def _columns(own_fields: Iterable[OwnField]) -> tuple[_Condition, ...]:
    """The columns there may be: ours, then what the program asks at each stop."""
    return (
        *_CONDITIONS,
        *(
            (field.cell, field.heading, partial(_own_value, field=field))
            for field in own_fields
            if field.per is AskedPer.STOP
        ),
    )


def _own_value(period: ListeningPeriod, formatter: Formatter, *, field: OwnField) -> str:
    return value_in_words(field, period.own_fields.get(field.key), unit=False)


def condition_addresses(grid: VisitGrid, own_fields: Iterable[OwnField]) -> Iterator[str]:
    """Cells that the table of conditions shows."""
    columns = _columns(own_fields)
    for row in grid.rows:
        if row.period:
            yield from (_address(row, name) for name, _, _ in columns)


def conditions(
    visit: Visit,
    grid: VisitGrid,
    cards_by_address: Mapping[str, tuple[Card, ...]],
    own_fields: Iterable[OwnField],
) -> tuple[tuple[str, ...], tuple[ConditionRow, ...]]:
    """Headings and rows of times and conditions, without empty rows and columns."""
    formatter = Formatter(
        zone=visit.route.program.time_zone,
        unit=TemperatureUnit(visit.route.program.temperature_unit),
        distance_unit=DistanceUnit(visit.route.program.distance_unit),
    )
    table = _Table(
        columns=_columns(own_fields), formatter=formatter, cards_by_address=cards_by_address
    )
    start = table.end_row(visit, "start", gettext("At the start"))
    stops = [table.stop_row(row) for row in grid.rows if row.period]
    end = table.end_row(visit, "end", gettext("At the end"))
    rows = [row for row in (start, *stops, end) if row.is_filled]
    used = [
        place
        for place in range(len(table.columns))
        if any(text or cards for text, cards in (row.cells[place] for row in rows))
    ]
    headings = tuple(table.columns[place][1] for place in used)
    return (
        headings,
        tuple(
            ConditionRow(
                name=row.name,
                cells=tuple(row.cells[place] for place in used),
                headings=headings,
            )
            for row in rows
        ),
    )


@dataclass(frozen=True, kw_only=True)
class _Table:
    columns: tuple[_Condition, ...]
    formatter: Formatter
    cards_by_address: Mapping[str, tuple[Card, ...]]

    def stop_row(self, row: GridRow) -> ConditionRow:
        return ConditionRow(
            name=said("Stop {number}", number=row.stop.number),
            cells=tuple(
                (
                    read(row.period, self.formatter),
                    self.cards_by_address.get(_address(row, name), ()),
                )
                for name, _, read in self.columns
            ),
        )

    def end_row(self, visit: Visit, end: str, name: str) -> ConditionRow:
        texts = {
            "air_temperature": self.formatter.degrees(getattr(visit, f"{end}_air_temperature_c")),
            "beaufort": self.formatter.number(getattr(visit, f"{end}_beaufort")),
            "sky": getattr(visit, f"get_{end}_sky_display")(),
        }
        return ConditionRow(
            name=name,
            cells=tuple(
                (texts.get(field, ""), self.cards_by_address.get(f"{end}.{field}", ()))
                for field, _, _ in self.columns
            ),
        )


def _address(row: GridRow, name: str) -> str:
    return f"stops.{row.stop.number}.{name}"
