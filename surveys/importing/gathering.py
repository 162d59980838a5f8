"""Rows of a table gathered into one sheet a visit, wide or long.

Wide: one row for each stop and visit, a column for each species. Long: one row for
each stop, visit and species. Either way the cells of a sheet come out, and for each
cell the row and column it came from.
"""

import datetime as dt
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from surveys.dates import day
from surveys.importing import typed
from surveys.importing.columns import Choice, is_long
from surveys.importing.fields import CLOCKS, DEGREES, RAINS, WINDS, Level
from surveys.importing.problems import ClashError, EntryError, Problem, ProblemKind
from surveys.importing.table import Row, Table
from surveys.importing.unknown_names import unknown_routes, unknown_species
from surveys.language import gettext, said
from surveys.visits.sheet.cells import storable
from surveys.visits.sheet.texts import CellError, is_missing, quoted, rain_is_missing, read_integer

NOT_RECORDED = "?"
_EXAMPLE = dt.date(2024, 4, 15)
_NOTHING_HEARD = frozenset({"none", "no species", "silent", "nothing", "no calls"})


@dataclass(frozen=True, kw_only=True)
class Answers:
    """What the file itself cannot say. `blank_is_zero`: an empty species cell at a stop
    that was listened to means “not heard”, otherwise “not recorded”. `unnamed_is_zero`:
    so for species of the checklist that the file never names. `fill_down`: an empty route, date or
    observer is the one above."""

    blank_is_zero: bool = True
    unnamed_is_zero: bool = False
    fill_down: bool = False


@dataclass(kw_only=True)
class GatheredSheet:
    """One visit. `origins` leads from cell addresses to (row, column), `texts` from there to what
    was read. `raw` is what the file says."""

    route: str
    night: dt.date
    cells: dict[str, str] = field(default_factory=dict)
    origins: dict[str, tuple[int, str]] = field(default_factory=dict)
    observer: str = ""
    observer_row: int = 0
    rows: list[int] = field(default_factory=list)
    stops: dict[int, int] = field(default_factory=dict)
    raw: dict[str, str] = field(default_factory=dict)
    texts: dict[tuple[int, str], str] = field(default_factory=dict)


@dataclass(frozen=True, kw_only=True)
class Gathered:
    sheets: tuple[GatheredSheet, ...]
    problems: tuple[Problem, ...]
    named_species: frozenset[str]


@dataclass(kw_only=True)
class _Gathering:
    headers: tuple[str, ...]
    choices: Sequence[Choice]
    routes: Mapping[str, str]
    catalog: Mapping[str, str]
    answers: Answers
    latest_year: int
    long: bool
    in_parts: frozenset[str]
    positions: dict[str, int]
    sheets: dict[tuple[str, dt.date], GatheredSheet] = field(default_factory=dict)
    problems: list[Problem] = field(default_factory=list)
    unknown_routes: dict[str, list[int]] = field(default_factory=lambda: defaultdict(list))
    unknown_species: dict[str, list[int]] = field(default_factory=lambda: defaultdict(list))
    named: set[str] = field(default_factory=set)

    def report(
        self, row: Row, position: int, error: CellError, kind: ProblemKind = ProblemKind.CELL
    ) -> None:
        self.problems.append(
            Problem(
                row=row.number,
                column=self.headers[position],
                message=error.message,
                remedy=error.remedy,
                kind=kind,
                written=row.texts[position],
            )
        )

    def text(self, row: Row, code: str) -> str:
        position = self.positions.get(code)
        return "" if position is None else row.texts[position]


@dataclass(frozen=True, kw_only=True)
class _PlacedRow:
    """A row whose visit and stop are known."""

    work: _Gathering
    sheet: GatheredSheet
    row: Row
    stop: int

    def text(self, code: str) -> str:
        return self.work.text(self.row, code)

    def report(self, position: int, error: CellError, kind: ProblemKind = ProblemKind.CELL) -> None:
        self.work.report(self.row, position, error, kind)

    def set_cell(self, address: str, text: str, position: int) -> None:
        self.sheet.cells[address] = text
        origin = (self.row.number, self.work.headers[position])
        self.sheet.origins[address] = origin
        self.sheet.texts[origin] = self.row.texts[position]


def gather(
    table: Table,
    choices: Sequence[Choice],
    *,
    routes: Mapping[str, str],
    catalog: Mapping[str, str],
    answers: Answers,
    latest_year: int,
) -> Gathered:
    """Gather every row; a row that cannot be placed is a problem and left out.

    `routes` leads from casefolded codes and names to route codes, `catalog` from
    casefolded names to species codes.
    """
    work = _Gathering(
        headers=table.headers,
        choices=choices,
        routes=routes,
        catalog=catalog,
        answers=answers,
        latest_year=latest_year,
        long=is_long(choices),
        in_parts=table.in_parts,
        positions={c.field.code: p for p, c in enumerate(choices) if c.field is not None},
        named={choice.species for choice in choices if choice.species},
    )
    for row in table.rows:
        _gather_row(work, row)
    for sheet in work.sheets.values():
        _finish_stops(work, sheet)
    return Gathered(
        sheets=tuple(work.sheets.values()),
        problems=(*_unknown_names(work), *work.problems),
        named_species=frozenset(work.named),
    )


def _unknown_names(work: _Gathering) -> list[Problem]:
    route_column = work.headers[work.positions["route"]]
    problems = unknown_routes(work.unknown_routes, known=work.routes, column=route_column)
    if work.unknown_species:
        species_column = work.headers[work.positions["species"]]
        problems += unknown_species(work.unknown_species, known=work.catalog, column=species_column)
    return problems


def blank_means_zero(table: Table, choices: Sequence[Choice]) -> bool:
    """Whether empty species cells look like zeros: nobody wrote any zero down."""
    columns = [position for position, choice in enumerate(choices) if choice.species]
    return not any(
        typed.whole_number_text(text) == "0" for p in columns for text in table.column(p)
    )


def _gather_row(work: _Gathering, row: Row) -> None:
    route, night, stop = _route(work, row), _night(work, row), _stop(work, row)
    if route is None or night is None or stop is None:
        return
    sheet = work.sheets.setdefault((route, night), GatheredSheet(route=route, night=night))
    if stop in sheet.stops and not work.long:
        work.problems.append(
            Problem(
                row=row.number,
                message=said(
                    "Stop {stop} of {route} on {night} is in row {sheet} already.",
                    stop=stop,
                    route=route,
                    night=day(night),
                    sheet=sheet.stops[stop],
                ),
                remedy=gettext("Keep one of the two rows, or correct the stop or the date."),
                kind=ProblemKind.ROWS,
            )
        )
        return
    sheet.stops.setdefault(stop, row.number)
    sheet.rows.append(row.number)
    placed = _PlacedRow(work=work, sheet=sheet, row=row, stop=stop)
    for position, choice in enumerate(work.choices):
        header, written = work.headers[position], row.as_written[position]
        if written:
            part = row.part if header in work.in_parts else ""
            sheet.raw[f"imported.{row.number}.{part}{header}"] = storable(written)
        if choice.species:
            _put_index(placed, position, choice.species)
        elif choice.field is not None and choice.field.level is not Level.CALL:
            _put_field(placed, position, choice)
    _put_observer(placed)
    if work.long:
        _put_species_row(placed)


def _route(work: _Gathering, row: Row) -> str | None:
    text = work.text(row, "route")
    code = work.routes.get(typed.whole_number_text(text).casefold()) or work.routes.get(
        " ".join(text.split()).casefold()
    )
    if code is None:
        work.unknown_routes[text].append(row.number)
    return code


def _night(work: _Gathering, row: Row) -> dt.date | None:
    position = work.positions["night"]
    text = row.texts[position]
    try:
        if is_missing(text):
            raise EntryError(
                gettext("The date of the evening is missing."),
                said("Write it, such as {day}.", day=day(_EXAMPLE)),
            )
        return typed.read_date(text, work.choices[position].form, latest_year=work.latest_year)
    except CellError as error:
        work.report(row, position, error)
        return None


def _stop(work: _Gathering, row: Row) -> int | None:
    position = work.positions["stop"]
    text = row.texts[position]
    try:
        number = read_integer(text.casefold().removeprefix("stop").strip() or "-")
        if not 1 <= number <= 9999:
            raise EntryError(
                said("{quoted} is not a stop number.", quoted=quoted(text)),
                gettext("Stops count from 1."),
            )
    except CellError as error:
        missing = is_missing(text)
        message = gettext("The stop number is missing.") if missing else error.message
        work.report(row, position, EntryError(message, gettext("Write the number of the stop.")))
        return None
    return number


def _put_field(placed: _PlacedRow, position: int, choice: Choice) -> None:
    target, text = choice.field, placed.row.texts[position]
    if not target.address or target.code == "night" or is_missing_here(text, choice):
        return
    prefix = f"stops.{placed.stop}." if target.level is Level.STOP else ""
    address = f"{prefix}{target.address}"
    try:
        if target.forms is CLOCKS:
            clock, fold = typed.clock_cells(text, choice.form, placed.sheet.night)
            _put_once(placed, position, address, clock)
            if fold:
                _put_once(placed, position, f"{address}.fold", fold)
            return
        _put_once(placed, position, address, _converted(text, choice))
    except ClashError as error:
        placed.report(position, error, ProblemKind.CLASH)
    except CellError as error:
        placed.report(position, error)


def is_missing_here(text: str, choice: Choice) -> bool:
    """Blank, a dash or T; T in a column of rain is a trace, which is an answer."""
    return rain_is_missing(text) if choice.field.forms is RAINS else is_missing(text)


def _converted(text: str, choice: Choice) -> str:
    if choice.field.forms is DEGREES:
        return typed.temperature_text(text, choice.form)
    if choice.field.forms is WINDS:
        return typed.wind_text(text, choice.form)
    if choice.field.forms is RAINS:
        return typed.rain_text(text, choice.form)
    return text


def _put_once(placed: _PlacedRow, position: int, address: str, text: str) -> None:
    """Write a cell once; rows of the same visit or stop must not say different things."""
    sheet = placed.sheet
    before = sheet.cells.get(address)
    if before is None:
        placed.set_cell(address, storable(text), position)
    elif before != storable(text):
        first = sheet.origins[address][0]
        what = "stop" if address.startswith("stops.") else "visit"
        raise ClashError(
            said(
                "{quoted} differs from row {first} of the same {what}.",
                quoted=quoted(placed.row.texts[position]),
                first=first,
                what=what,
            ),
            said("Write the same in every row of the {what}, or only in the first.", what=what),
        )


def _put_index(placed: _PlacedRow, position: int, species: str) -> None:
    text = typed.whole_number_text(placed.row.texts[position])
    if text:
        placed.set_cell(_call_address(placed.stop, species), _index_text(text), position)


def _put_species_row(placed: _PlacedRow) -> None:
    """A row of the long form: one species at one stop, or that nothing was heard there."""
    work, row, sheet, stop = placed.work, placed.row, placed.sheet, placed.stop
    position, name = work.positions["index"], placed.text("species")
    index = typed.whole_number_text(row.texts[position])
    if is_missing(name) or name.casefold() in _NOTHING_HEARD:
        _put_silence(placed, index)
        return
    species = work.catalog.get(name.casefold())
    if species is None:
        work.unknown_species[name].append(row.number)
        return
    work.named.add(species)
    address = _call_address(stop, species)
    if address in sheet.cells:
        first = sheet.origins[address][0]
        twice = ClashError(
            said(
                "{name} at stop {stop} is in row {first} already.",
                name=name,
                stop=stop,
                first=first,
            ),
            gettext("Keep the row with the higher index."),
        )
        placed.report(position, twice, ProblemKind.ROWS)
    elif not index:
        missing = EntryError(
            said("{name} has no call index.", name=name),
            gettext("Write 0, 1, 2 or 3; ? when not sure, - when it was not recorded."),
        )
        placed.report(position, missing, ProblemKind.CLASH)
    else:
        text = f"{_index_text(index)} {storable(placed.text('distance'))}"
        placed.set_cell(address, text.strip(), position)


def _put_silence(placed: _PlacedRow, index: str) -> None:
    if index not in ("", "0", "-"):
        species_position = placed.work.positions["species"]
        error = EntryError(
            gettext("There is a call index, but no species."), gettext("Write the species.")
        )
        placed.report(species_position, error, ProblemKind.CLASH)
    status = f"stops.{placed.stop}.status"
    placed.sheet.cells.setdefault(status, "listened")
    placed.sheet.origins.setdefault(status, (placed.row.number, ""))


def _call_address(stop: int, species: str) -> str:
    return f"stops.{stop}.calls.{species}"


def _index_text(text: str) -> str:
    return NOT_RECORDED if is_missing(text) else storable(text)


def _put_observer(placed: _PlacedRow) -> None:
    sheet, text = placed.sheet, placed.text("observer")
    if is_missing(text):
        return
    if sheet.observer and sheet.observer.casefold() != text.casefold():
        differs = ClashError(
            said(
                "{quoted} differs from row {observer_row} of the same visit.",
                quoted=quoted(text),
                observer_row=sheet.observer_row,
            ),
            gettext("Write the same observer in every row of the visit."),
        )
        placed.report(placed.work.positions["observer"], differs, ProblemKind.CLASH)
        return
    sheet.observer = sheet.observer or storable(text)
    sheet.observer_row = placed.row.number


def _finish_stops(work: _Gathering, sheet: GatheredSheet) -> None:
    """Say of each stop that it was listened to, where the file shows it, and fill in
    what an empty species cell means."""
    knows_stops = any(
        c.field is not None and c.field.level is Level.STOP and c.field.address
        for c in work.choices
    )
    by_stop: dict[str, list[str]] = defaultdict(list)
    for address in sheet.cells:
        if address.startswith("stops."):
            by_stop[address.split(".")[1]].append(address)
    for number, row in sheet.stops.items():
        status = f"stops.{number}.status"
        if status not in sheet.cells and (by_stop[str(number)] or not knows_stops):
            sheet.cells[status] = "listened"
            sheet.origins[status] = (row, "")
        if work.long or work.answers.blank_is_zero:
            continue
        if sheet.cells.get(status, "").casefold() == "listened":
            for species in work.named:
                sheet.cells.setdefault(f"stops.{number}.calls.{species}", NOT_RECORDED)
