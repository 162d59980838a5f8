"""Rows of a table gathered into one sheet a visit, wide or long: first each row is placed, then the
rows of one visit after the other are read.

Wide: one row for each stop and visit, a column for each species. Long: one row for
each stop, visit and species. Either way the cells of a sheet come out, and for each
cell the row and column it came from.
"""

import datetime as dt
from collections import defaultdict
from collections.abc import Mapping, Sequence

from surveys.dates import day
from surveys.importing import typed
from surveys.importing.columns import Choice, is_long
from surveys.importing.fields import Level
from surveys.importing.gathered import (
    NOT_RECORDED,
    Answers,
    GatheredSheet,
    Gathering,
    Placed,
    PlacedRow,
)
from surveys.importing.problems import EntryError, Problem, ProblemKind
from surveys.importing.row_cells import (
    names_no_species,
    put_field,
    put_index,
    put_observer,
    put_species_row,
)
from surveys.importing.row_store import RowStore
from surveys.importing.table import Row, Table
from surveys.importing.unknown_names import unknown_routes, unknown_species
from surveys.language import gettext, said
from surveys.runs.progress import ReportProgress, no_report
from surveys.visits.sheet.cells import storable
from surveys.visits.sheet.texts import CellError, is_missing, quoted, read_integer

_EXAMPLE = dt.date(2024, 4, 15)


def gathering(
    table: Table,
    choices: Sequence[Choice],
    *,
    routes: Mapping[str, str],
    catalog: Mapping[str, str],
    split: Mapping[str, Sequence[str]],
    answers: Answers,
    latest_year: int,
) -> Gathering:
    """`routes` leads from casefolded codes and names to route codes, `catalog` from casefolded
    names to species codes, `split` from those of several species to their names."""
    return Gathering(
        headers=table.headers,
        choices=choices,
        routes=routes,
        catalog=catalog,
        split=split,
        answers=answers,
        latest_year=latest_year,
        long=is_long(choices),
        in_parts=table.in_parts,
        positions={c.field.code: p for p, c in enumerate(choices) if c.field is not None},
        named={choice.species for choice in choices if choice.species},
    )


def place(
    work: Gathering, table: Table, store: RowStore, report: ReportProgress = no_report
) -> tuple[Placed, ...]:
    """Put aside every row with the others of its visit; one that cannot be placed is a problem and
    left out. Afterwards it is known which species the file names."""
    visits: dict[tuple[str, dt.date], Placed] = {}
    total, step = len(table.rows), gettext("Reading the rows")
    for number, row in enumerate(table.rows):
        report(step, number, total)
        route, night, stop = _route(work, row), _night(work, row), _stop(work, row)
        if route is None or night is None or stop is None:
            continue
        if (route, night) not in visits:
            visits[route, night] = Placed(route=route, night=night, first_row=row.number)
        visits[route, night].rows.append(store.add(row))
        if work.long:
            _note_species(work, row)
    work.problems.extend(_unknown_names(work))
    return tuple(visits.values())


def gather(work: Gathering, visit: Placed, store: RowStore) -> GatheredSheet:
    """The sheet of a visit, of the rows that were put aside."""
    sheet = GatheredSheet(route=visit.route, night=visit.night)
    for number in visit.rows:
        row = store[number]
        _gather_row(work, sheet, row)
    _finish_stops(work, sheet)
    return sheet


def _note_species(work: Gathering, row: Row) -> None:
    name = work.text(row, "species")
    if names_no_species(name):
        return
    species = work.catalog.get(name.casefold())
    if species is None:
        work.unknown_species[name].append(row.number)
    else:
        work.named.add(species)


def _unknown_names(work: Gathering) -> list[Problem]:
    route_column = work.headers[work.positions["route"]]
    problems = unknown_routes(work.unknown_routes, known=work.routes, column=route_column)
    if work.unknown_species:
        species_column = work.headers[work.positions["species"]]
        problems += unknown_species(
            work.unknown_species, known=work.catalog, split=work.split, column=species_column
        )
    return problems


def blank_means_zero(table: Table, choices: Sequence[Choice]) -> bool:
    """Whether empty species cells look like zeros: nobody wrote any zero down."""
    columns = [position for position, choice in enumerate(choices) if choice.species]
    return not any(
        typed.whole_number_text(text) == "0" for p in columns for text in table.different_cells(p)
    )


def _gather_row(work: Gathering, sheet: GatheredSheet, row: Row) -> None:
    stop = _stop(work, row)
    if stop in sheet.stops and not work.long:
        work.problems.add(
            Problem(
                row=row.number,
                message=said(
                    "Stop {stop} of {route} on {night} is in row {sheet} already.",
                    stop=stop,
                    route=sheet.route,
                    night=day(sheet.night),
                    sheet=sheet.stops[stop],
                ),
                remedy=gettext("Keep one of the two rows, or correct the stop or the date."),
                kind=ProblemKind.ROWS,
            )
        )
        return
    sheet.stops.setdefault(stop, row.number)
    sheet.rows.append(row.number)
    placed = PlacedRow(work=work, sheet=sheet, row=row, stop=stop)
    _keep_as_written(work, sheet, row)
    for position, species in work.species_columns:
        put_index(placed, position, species)
    for position, choice in work.field_columns:
        put_field(placed, position, choice)
    put_observer(placed)
    if work.long:
        put_species_row(placed)


def _keep_as_written(work: Gathering, sheet: GatheredSheet, row: Row) -> None:
    begin = f"imported.{row.number}."
    for header, written in zip(work.headers, row.as_written, strict=True):
        if written:
            part = row.part if header in work.in_parts else ""
            sheet.raw[f"{begin}{part}{header}"] = storable(written)


def _route(work: Gathering, row: Row) -> str | None:
    text = work.text(row, "route")
    code = work.routes.get(typed.whole_number_text(text).casefold()) or work.routes.get(
        " ".join(text.split()).casefold()
    )
    if code is None:
        work.unknown_routes[text].append(row.number)
    return code


def _night(work: Gathering, row: Row) -> dt.date | None:
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


def _stop(work: Gathering, row: Row) -> int | None:
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


def _finish_stops(work: Gathering, sheet: GatheredSheet) -> None:
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
