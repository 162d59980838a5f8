"""The paper sheet as a grid: which cells there are, what is in them, what is said of them."""

import datetime as dt
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from zoneinfo import ZoneInfo

from surveys.models import (
    LifeStage,
    Species,
    Stop,
    Visit,
    WaterTonight,
)
from surveys.protocol.values import (
    Finding,
    PeriodStatus,
    Severity,
)
from surveys.protocol.weather import (
    BEAUFORT,
    CALL_INDEX,
    NOISE_INDEX,
    SKY_CODES,
)
from surveys.visits.finding import findings_by_cell
from surveys.visits.judging import Judgment
from surveys.visits.sheet.cells import (
    CLOCK_FIELDS,
    split,
)

Options = tuple[tuple[str, str], ...]

YES_NO: Options = (("yes", "Yes"), ("no", "No"))
STATUS: Options = (
    (PeriodStatus.LISTENED.value, "Listened"),
    (PeriodStatus.SKIPPED.value, "Skipped"),
)
FOLDS: Options = (("first", "first time"), ("second", "second time"))
SPARE_SIGHTINGS = 2

_RANK = {Severity.REFUSE: 0, Severity.QUERY: 1, Severity.NOTE: 2}


@dataclass(frozen=True, kw_only=True)
class Column:
    """A column of the grid. `field` is the part of the address behind the stop."""

    field: str
    heading: str
    css: str = ""
    options: Options = ()
    hint: str = ""


@dataclass(frozen=True, kw_only=True)
class Cell:
    """One cell: `label` names it for people who do not see the grid."""

    address: str
    label: str
    text: str
    css: str = ""
    options: Options = ()
    findings: tuple[Finding, ...] = ()
    fold: "Cell | None" = None

    @property
    def short(self) -> str:
        """The label without the stop, for narrow screens where the stop stands above."""
        return self.label.partition(", ")[2] or self.label

    @property
    def severity(self) -> str:
        """The strongest severity of what is said of the cell, or nothing."""
        return min((f.severity for f in self.findings), key=_RANK.__getitem__, default="")

    @property
    def strange(self) -> bool:
        """A text that is none of the options; it is kept and shown."""
        return bool(self.text and self.options) and self.text not in dict(self.options)


@dataclass(frozen=True, kw_only=True)
class Row:
    number: int
    name: str
    cells: tuple[Cell, ...]
    findings: tuple[Finding, ...]


@dataclass(frozen=True, kw_only=True)
class Grid:
    """The whole sheet, ready to be shown."""

    evening: tuple[Cell, ...]
    columns: tuple[Column, ...]
    rows: tuple[Row, ...]
    sightings: tuple[tuple[int, tuple[Cell, ...]], ...]
    notes: Cell


@dataclass(frozen=True, kw_only=True)
class Layout:
    """A judged sheet, laid out. `others` are the species that have no column yet."""

    grid: Grid
    others: tuple[Species, ...]


def lay_out(visit: Visit, judged: Judgment, *, also: str = "") -> Layout:
    """The sheet of a visit: the night's checklist as columns, then what else the cells
    hold, and the species of the code `also` when the catalog has it."""
    ground = judged.background
    columns = [ground.species[entry.code] for entry in ground.route.checklist]
    asked = ground.species.get(also)
    if asked is not None and asked not in columns:
        columns.append(asked)
    columns = species_columns(columns, visit.cells, ground.species)
    catalog = sorted(ground.species.values(), key=lambda species: species.common_name)
    grid = _grid(
        visit,
        stops=ground.stops.values(),
        species=columns,
        catalog=catalog,
        findings=judged.findings,
        water_temperature=any(w.min_water_temperature for w in ground.protocol.windows),
    )
    return Layout(grid=grid, others=tuple(one for one in catalog if one not in columns))


def _grid(
    visit: Visit,
    *,
    stops: Iterable[Stop],
    species: Iterable[Species],
    catalog: Iterable[Species],
    findings: tuple[Finding, ...],
    water_temperature: bool,
) -> Grid:
    """Lay a visit's cells out. `species` are the columns, `catalog` what a sighting may name."""
    said = findings_by_cell(findings)
    make = _CellMaker(cells=visit.cells, said=said)
    zone = visit.route.program.time_zone
    columns = _columns(
        species,
        unit=visit.cells.get("temperature_unit") or visit.route.program.temperature_unit,
        water_temperature=water_temperature,
    )
    folds = hour_repeats(visit.night, zone)
    rows = tuple(_row(stop, columns, make, folds) for stop in stops)
    return Grid(
        evening=_evening(make),
        columns=columns,
        rows=rows,
        sightings=_sightings(visit.cells, make, rows, catalog),
        notes=make.cell("notes", "Notes"),
    )


def hour_repeats(night: dt.date, zone: str) -> bool:
    """Whether the clocks go back between noon and noon, so that an hour comes twice."""
    noon = dt.datetime.combine(night, dt.time(12), tzinfo=ZoneInfo(zone))
    return noon.utcoffset() > (noon + dt.timedelta(days=1)).utcoffset()


def species_columns(
    checklist: Iterable[Species], cells: Mapping[str, str], catalog: Mapping[str, Species]
) -> list[Species]:
    """The checklist, and behind it whatever else the sheet already holds."""
    columns = list(checklist)
    known = {species.code for species in columns}
    for address in cells:
        _, found, code = address.partition(".calls.")
        if found and code in catalog and code not in known:
            known.add(code)
            columns.append(catalog[code])
    return columns


@dataclass(frozen=True, kw_only=True)
class _CellMaker:
    """Puts texts and findings together, by address."""

    cells: Mapping[str, str]
    said: Mapping[str, list[Finding]]

    def cell(
        self, address: str, label: str, *, options: Options = (), css: str = "", fold: bool = False
    ) -> Cell:
        again = None
        if fold:
            again = self.cell(f"{address}.fold", f"{label}: which of the two", options=FOLDS)
        return Cell(
            address=address,
            label=label,
            text=self.cells.get(address, ""),
            css=css,
            options=options,
            findings=tuple(self.said.get(address, ())),
            fold=again,
        )


def _columns(
    species: Iterable[Species], *, unit: str, water_temperature: bool
) -> tuple[Column, ...]:
    water = (Column(field="water_temperature", heading=f"Water °{unit}"),)
    return (
        Column(
            field="status",
            heading="Listened or skipped",
            css="sheet__choice sheet__status",
            options=STATUS,
        ),
        Column(field="arrived_at", heading="Arrived", css="sheet__clock", hint="21:14"),
        Column(field="started_at", heading="Start", css="sheet__clock", hint="21:15"),
        Column(field="finished_at", heading="End", css="sheet__clock", hint="21:20"),
        Column(field="paused_minutes", heading="Pause, min"),
        Column(field="air_temperature", heading=f"Air °{unit}"),
        *(water if water_temperature else ()),
        Column(field="beaufort", heading="Wind"),
        Column(field="sky", heading="Sky"),
        Column(field="noise_index", heading="Noise"),
        Column(field="cars", heading="Cars"),
        *(
            Column(
                field=f"calls.{one.code}",
                heading=one.common_name,
                css="sheet__index",
            )
            for one in species
        ),
        Column(field="interrupted", heading="Broken off", options=YES_NO, css="sheet__choice"),
        Column(field="moonlight", heading="Moonlight", options=YES_NO, css="sheet__choice"),
        Column(
            field="water_tonight",
            heading="Water",
            options=tuple(WaterTonight.choices),
            css="sheet__choice",
        ),
        Column(field="skip_reason", heading="If skipped, why", css="sheet__text"),
        Column(field="note", heading="Note", css="sheet__text"),
    )


def _row(stop: Stop, columns: tuple[Column, ...], make: _CellMaker, folds: bool) -> Row:
    cells = tuple(
        make.cell(
            f"stops.{stop.number}.{column.field}",
            f"Stop {stop.number}, {column.heading}",
            options=column.options,
            css=column.css,
            fold=folds and column.field in CLOCK_FIELDS,
        )
        for column in columns
    )
    said = tuple(finding for finding in make.said.get("", ()) if finding.where.stop == stop.number)
    return Row(number=stop.number, name=stop.name, cells=cells, findings=said)


def _evening(make: _CellMaker) -> tuple[Cell, ...]:
    unit = (("C", "°C"), ("F", "°F"))
    ends = (("start", "At the start"), ("end", "At the end"))
    weather = (("air_temperature", "air temperature"), ("beaufort", "wind force"), ("sky", "sky"))
    return (
        make.cell("night", "Night (date of the evening)"),
        make.cell("temperature_unit", "Temperatures are in", options=unit),
        make.cell("second_observer", "Second observer"),
        *(
            make.cell(f"{end}.{field}", f"{when}: {words}")
            for end, when in ends
            for field, words in weather
        ),
        make.cell("rain_48h_mm", "Rain in the 48 h before, mm"),
        make.cell("days_since_rain", "Days since the last rain"),
    )


def _sightings(
    cells: Mapping[str, str],
    make: _CellMaker,
    rows: tuple[Row, ...],
    catalog: Iterable[Species],
) -> tuple[tuple[int, tuple[Cell, ...]], ...]:
    typed = sorted(split(cells).sightings)
    spare = range(max(typed, default=0) + 1, max(typed, default=0) + 1 + SPARE_SIGHTINGS)
    stop_options = tuple((str(row.number), f"{row.number} {row.name}") for row in rows)
    species = tuple((one.code, one.common_name) for one in catalog)
    fields: tuple[tuple[str, str, Options], ...] = (
        ("stop", "Stop", stop_options),
        ("species", "Species", species),
        ("life_stage", "Life stage", tuple(LifeStage.choices)),
        ("count", "Count", ()),
        ("color_form", "Color form", ()),
        ("note", "Note", ()),
    )
    return tuple(
        (
            row,
            tuple(
                make.cell(f"sightings.{row}.{field}", f"Seen {row}, {name}", options=options)
                for field, name, options in fields
            ),
        )
        for row in (*typed, *spare)
    )


CODES = (
    ("Call index", tuple(CALL_INDEX.items())),
    ("Wind force (Beaufort)", tuple((row.force, row.sign) for row in BEAUFORT[:7])),
    ("Sky", tuple(SKY_CODES.items())),
    ("Noise", tuple(NOISE_INDEX.items())),
)
