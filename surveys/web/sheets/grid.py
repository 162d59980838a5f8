"""The paper sheet as a grid: its cells, their texts and the findings on them."""

import datetime as dt
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any
from zoneinfo import ZoneInfo

from django.utils.translation import gettext_lazy

from surveys.language import gettext, said
from surveys.models import (
    LifeStage,
    Species,
    Stop,
    Visit,
)
from surveys.programs.versions import units_of
from surveys.protocol.limits.phrases import radius_in_words
from surveys.protocol.own_fields import AskedPer, OwnField
from surveys.protocol.values import (
    Protocol,
    Severity,
)
from surveys.protocol.weather import (
    BEAUFORT,
    CALL_INDEX,
    NOISE,
    SKY,
    Words,
)
from surveys.visits.companions import companions_of, names_of_companions
from surveys.visits.finding import findings_by_cell
from surveys.visits.judging import Judgment
from surveys.visits.sheet.cells import (
    CLOCK_FIELDS,
    split,
)
from surveys.visits.sheet.texts import state_of_code
from surveys.visits.telling import ToldFinding, tell_findings
from surveys.web.sheets.columns import (
    FOLDS,
    RAIN_UNITS,
    Codes,
    Column,
    Options,
    degrees_typed,
    own_options,
    own_typed,
    state_options,
    stop_columns,
)
from surveys.web.sheets.posted import shown_cells

NO_CODES: Codes = MappingProxyType({})
SPARE_SIGHTINGS = 2

_RANK = {Severity.REFUSE: 0, Severity.QUERY: 1, Severity.NOTE: 2}


@dataclass(frozen=True, kw_only=True)
class Cell:
    """One cell; `label` names it for screen readers. `told` says the text where it is none of the
    options: a code of the protocol in words, anything else as it is."""

    address: str
    label: str
    text: str
    told: str = ""
    css: str = ""
    options: Options = ()
    keyboard: str = ""
    keys: str = ""
    findings: tuple[ToldFinding, ...] = ()
    fold: "Cell | None" = None

    @property
    def short(self) -> str:
        """The label without the stop, for narrow screens where the stop is a heading."""
        return self.label.partition(", ")[2] or self.label

    @property
    def severity(self) -> str:
        """The highest severity of the cell's findings; empty without findings."""
        return min((f.severity for f in self.findings), key=_RANK.__getitem__, default="")

    @property
    def is_no_option(self) -> bool:
        """Whether the text is none of the options; it is kept and shown."""
        return bool(self.text and self.options) and self.text not in dict(self.options)


@dataclass(frozen=True, kw_only=True)
class Row:
    number: int
    name: str
    cells: tuple[Cell, ...]
    findings: tuple[ToldFinding, ...]

    @property
    def is_filled(self) -> bool:
        return any(cell.text for cell in self.cells)


@dataclass(frozen=True, kw_only=True)
class Grid:
    """The whole sheet, ready to be rendered. `own_help` says what the program's own fields ask;
    `findings` are all that there are on the sheet. `radius` is the listening radius in words; blank
    where the protocol has none."""

    evening: tuple[Cell, ...]
    columns: tuple[Column, ...]
    rows: tuple[Row, ...]
    sightings: tuple[tuple[int, tuple[Cell, ...]], ...]
    notes: Cell
    own_help: tuple[tuple[str, str], ...]
    findings: tuple[ToldFinding, ...]
    radius: str

    @property
    def labels(self) -> dict[str, str]:
        """What names each cell on the screen, by address."""
        rows = (*(row.cells for row in self.rows), *(cells for _, cells in self.sightings))
        cells = (*self.evening, *(cell for row in rows for cell in row), self.notes)
        with_folds = (shown for cell in cells for shown in (cell, cell.fold) if shown)
        return {cell.address: cell.label for cell in with_folds}


@dataclass(frozen=True, kw_only=True)
class Layout:
    """The grid of a judged sheet. `others` are the species without a column."""

    grid: Grid
    others: tuple[Species, ...]


def build_layout(visit: Visit, judgment: Judgment, *, also: str = "") -> Layout:
    """The sheet of a visit. Its columns are the species of the night's checklist, the species
    with code `also` if the catalog has it, and any other species that the cells mention."""
    background = judgment.background
    columns = [background.species[entry.code] for entry in background.route.checklist]
    extra = background.species.get(also)
    if extra is not None and extra not in columns:
        columns.append(extra)
    columns = species_columns(columns, visit.cells, background.species)
    catalog = sorted(background.species.values(), key=lambda species: species.name)
    grid = _grid(
        visit,
        stops=_stop_names(background.stops, visit.cells),
        species=columns,
        catalog=catalog,
        findings=tell_findings(judgment.findings, visit.route.program),
        protocol=background.protocol,
        own_fields=fields_shown(background.route.own_fields, visit.cells),
    )
    return Layout(grid=grid, others=tuple(species for species in catalog if species not in columns))


def _grid(
    visit: Visit,
    *,
    stops: Mapping[int, str],
    species: Iterable[Species],
    catalog: Iterable[Species],
    findings: tuple[ToldFinding, ...],
    protocol: Protocol,
    own_fields: tuple[OwnField, ...],
) -> Grid:
    """Arrange the cells. `species` are the columns, `catalog` the choices for sightings."""
    findings_by_address = findings_by_cell(findings)
    maker = _CellMaker(cells=shown_cells(visit.cells), findings_by_address=findings_by_address)
    zone = visit.route.program.time_zone
    unit = visit.cells.get("temperature_unit") or visit.route.program.temperature_unit
    columns = stop_columns(
        species,
        unit=unit,
        protocol=protocol,
        own_fields=own_fields,
    )
    folds = hour_repeats(visit.night, zone)
    rows = tuple(_row(number, name, columns, maker, folds) for number, name in stops.items())
    return Grid(
        evening=_evening(maker, protocol, own_fields, companion_options(visit), unit),
        columns=columns,
        rows=rows,
        sightings=_sightings(visit.cells, maker, rows, catalog),
        notes=maker.cell("notes", gettext("Notes")),
        own_help=tuple((field.label, field.help) for field in own_fields if field.help),
        findings=findings,
        radius=radius_in_words(protocol, units_of(visit.route.program)),
    )


def companion_options(visit: Visit) -> Options:
    """Members who may have come along; whoever is on the sheet, too, although they have left."""
    program = visit.route.program
    people = companions_of(program, observer_id=visit.observer_id)
    on_sheet = names_of_companions([visit.cells], program)
    return tuple({**on_sheet, **{str(key): name for key, name in people.items()}}.items())


def hour_repeats(night: dt.date, zone: str) -> bool:
    """Whether the clocks go back between noon and the next noon, so that an hour repeats."""
    noon = dt.datetime.combine(night, dt.time(12), tzinfo=ZoneInfo(zone))
    return noon.utcoffset() > (noon + dt.timedelta(days=1)).utcoffset()


def species_columns(
    checklist: Iterable[Species], cells: Mapping[str, str], catalog: Mapping[str, Species]
) -> list[Species]:
    """The species of the checklist, then others that the sheet already mentions."""
    columns = list(checklist)
    codes = {species.code for species in columns}
    for address in cells:
        _, is_call, code = address.partition(".calls.")
        if is_call and code in catalog and code not in codes:
            codes.add(code)
            columns.append(catalog[code])
    return columns


@dataclass(frozen=True, kw_only=True)
class _CellMaker:
    """Makes cells with their text and findings, by address."""

    cells: Mapping[str, str]
    findings_by_address: Mapping[str, list[ToldFinding]]

    def cell(
        self,
        address: str,
        label: str,
        *,
        options: Options = (),
        codes: Codes = NO_CODES,
        css: str = "",
        keyboard: str = "",
        keys: str = "",
        fold: bool = False,
    ) -> Cell:
        fold_cell = None
        if fold:
            fold_cell = self.cell(
                f"{address}.fold", said("{label}: first or second", label=label), options=FOLDS
            )
        text = self.cells.get(address, "")
        return Cell(
            address=address,
            label=label,
            text=text,
            told=dict(options).get(state_of_code(text, codes) or "", text),
            css=css,
            options=options,
            keyboard=keyboard,
            keys=keys,
            findings=tuple(self.findings_by_address.get(address, ())),
            fold=fold_cell,
        )


def fields_shown(fields: Iterable[OwnField], cells: Mapping[str, str]) -> tuple[OwnField, ...]:
    """The own fields that were asked that night, and others that the sheet mentions."""
    mentioned = {address.rpartition(".")[2] for address in cells if "own." in address}
    return tuple(field for field in fields if field.asked or field.key in mentioned)


def _stop_names(stops: Mapping[int, Stop], cells: Mapping[str, str]) -> dict[int, str]:
    """The stops of the sheet by number, and any other number that has entries, so that they can
    be seen and cleared."""
    names = dict.fromkeys(split(cells).stops, gettext("not on this route"))
    names |= {number: stop.name for number, stop in stops.items()}
    return dict(sorted(names.items()))


def _row(
    number: int, name: str, columns: tuple[Column, ...], maker: _CellMaker, folds: bool
) -> Row:
    cells = tuple(
        maker.cell(
            f"stops.{number}.{column.field}",
            said("Stop {stop_number}, {heading}", stop_number=number, heading=column.heading),
            options=column.options,
            codes=column.codes,
            css=column.css,
            keyboard=column.keyboard,
            keys=column.keys,
            fold=folds and column.field in CLOCK_FIELDS,
        )
        for column in columns
    )
    stop_findings = tuple(
        finding for finding in maker.findings_by_address.get("", ()) if finding.where.stop == number
    )
    return Row(number=number, name=name, cells=cells, findings=stop_findings)


def _evening(
    maker: _CellMaker,
    protocol: Protocol,
    own_fields: Iterable[OwnField],
    companions: Options,
    degrees: str,
) -> tuple[Cell, ...]:
    unit = (("C", "°C"), ("F", "°F"))
    ends = (("start", gettext("At the start")), ("end", gettext("At the end")))
    sky = state_options(SKY, protocol.sky_codes)
    weather: tuple[tuple[str, str, Mapping[str, Any]], ...] = (
        ("air_temperature", gettext("air temperature"), degrees_typed(degrees)),
        ("beaufort", gettext("wind force"), {"keyboard": "numeric"}),
        ("sky", gettext("sky"), {"options": sky, "codes": protocol.sky_codes}),
    )
    return (
        maker.cell("night", gettext("Night (date of the evening)")),
        maker.cell("temperature_unit", gettext("Temperatures are in"), options=unit),
        maker.cell("second_member", gettext("Second observer, a member"), options=companions),
        maker.cell("second_observer", gettext("Second observer, a guest")),
        maker.cell(
            "rain_48h",
            gettext("Rain in the past 48 hours (T = trace)"),
            keyboard="decimal",
            keys="T",
        ),
        maker.cell("rain_unit", gettext("Rain is in"), options=RAIN_UNITS),
        *(
            maker.cell(f"{end}.{field}", f"{when}: {words}", **typed)
            for end, when in ends
            for field, words, typed in weather
        ),
        *(
            maker.cell(field.cell, field.heading, options=own_options(field), **own_typed(field))
            for field in own_fields
            if field.per is AskedPer.VISIT
        ),
    )


def _sightings(
    cells: Mapping[str, str],
    maker: _CellMaker,
    rows: tuple[Row, ...],
    catalog: Iterable[Species],
) -> tuple[tuple[int, tuple[Cell, ...]], ...]:
    typed = sorted(split(cells).sightings)
    spare = range(max(typed, default=0) + 1, max(typed, default=0) + 1 + SPARE_SIGHTINGS)
    stop_options = tuple((str(row.number), f"{row.number} {row.name}") for row in rows)
    species = tuple((kind.code, kind.name) for kind in catalog)
    fields: tuple[tuple[str, str, Options], ...] = (
        ("stop", gettext("Stop"), stop_options),
        ("species", gettext("Species"), species),
        ("life_stage", gettext("Life stage"), tuple(LifeStage.choices)),
        ("count", gettext("Count"), ()),
        ("color_form", gettext("Color form"), ()),
        ("note", gettext("Note"), ()),
    )
    return tuple(
        (
            row,
            tuple(
                maker.cell(
                    f"sightings.{row}.{field}",
                    said("Sighting {row}, {name}", row=row, name=name),
                    options=options,
                    keyboard="numeric" if field == "count" else "",
                )
                for field, name, options in fields
            ),
        )
        for row in (*typed, *spare)
    )


def _signs(states: Iterable[Words]) -> tuple[tuple[str, str], ...]:
    return tuple((gettext_lazy(words.name), gettext_lazy(words.sign)) for words in states)


LEGENDS = (
    (
        gettext_lazy("Call index"),
        tuple((index, gettext_lazy(words)) for index, words in CALL_INDEX.items()),
    ),
    (
        gettext_lazy("Wind force (Beaufort)"),
        tuple((row.force, gettext_lazy(row.sign)) for row in BEAUFORT[:7]),
    ),
    (gettext_lazy("Sky"), _signs(SKY.values())),
    (gettext_lazy("Noise"), _signs(NOISE.values())),
)
