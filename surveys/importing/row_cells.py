"""What a row says of its visit and stop, written into the cells of the sheet."""

from surveys.importing import typed
from surveys.importing.columns import Choice
from surveys.importing.fields import CLOCKS, DEGREES, RAINS, WINDS, Level
from surveys.importing.gathered import NOT_RECORDED, PlacedRow
from surveys.importing.problems import ClashError, EntryError, ProblemKind
from surveys.language import gettext, said
from surveys.visits.sheet.cells import storable
from surveys.visits.sheet.texts import CellError, is_missing, quoted, rain_is_missing

_NOTHING_HEARD = frozenset({"none", "no species", "silent", "nothing", "no calls"})


def put_field(placed: PlacedRow, position: int, choice: Choice) -> None:
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


def _put_once(placed: PlacedRow, position: int, address: str, text: str) -> None:
    """Write a cell once; rows of the same visit or stop must not say different things."""
    sheet = placed.sheet
    before = sheet.cells.get(address)
    if before is None:
        placed.set_cell(address, storable(text), position)
    elif before != storable(text):
        raise _differs(address, quoted(placed.row.texts[position]), sheet.origins[address][0])


def _differs(address: str, text: str, first: int) -> ClashError:
    if address.startswith("stops."):
        return ClashError(
            said("{quoted} differs from row {first} of the same stop.", quoted=text, first=first),
            gettext("Write the same in every row of the stop, or only in the first."),
        )
    return ClashError(
        said("{quoted} differs from row {first} of the same visit.", quoted=text, first=first),
        gettext("Write the same in every row of the visit, or only in the first."),
    )


def put_index(placed: PlacedRow, position: int, species: str) -> None:
    text = typed.whole_number_text(placed.row.texts[position])
    if text:
        placed.set_cell(_call_address(placed.stop, species), _index_text(text), position)


def names_no_species(name: str) -> bool:
    """Whether a row of the long form says that nothing was heard."""
    return is_missing(name) or name.casefold() in _NOTHING_HEARD


def put_species_row(placed: PlacedRow) -> None:
    """A row of the long form: one species at one stop, or that nothing was heard there."""
    work, row, sheet, stop = placed.work, placed.row, placed.sheet, placed.stop
    position, name = work.positions["index"], placed.text("species")
    index = typed.whole_number_text(row.texts[position])
    if names_no_species(name):
        _put_silence(placed, index)
        return
    species = work.catalog.get(name.casefold())
    if species is None:
        return
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


def _put_silence(placed: PlacedRow, index: str) -> None:
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


def put_observer(placed: PlacedRow) -> None:
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
