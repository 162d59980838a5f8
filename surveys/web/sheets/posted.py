"""The cells of a sheet as a page shows them and as it posts them."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Mapping

from django.http import QueryDict

from surveys.dates import DateError, clock, in_digits, read_date, style
from surveys.protocol.nights import night_of
from surveys.visits.sheet.cells import CLOCK_FIELDS, CellChange

# Fields of the forms that are not cells of the sheet.
_NOT_CELLS = {
    "csrfmiddlewaretoken",
    "rendered",
    "revision",
    "reason",
    "extra_species",
    "clear_stop",
    "then",
}


def changed_cells(posted: QueryDict) -> Mapping[str, CellChange]:
    """The posted cells that differ from what the page was rendered with.

    Texts are compared line by line, because browsers change the line endings.
    """
    rendered = _rendered_cells(posted)
    return {
        address: change_of(address, rendered.get(address, ""), text)
        for address, text in posted.items()
        if address not in _NOT_CELLS and text.splitlines() != rendered.get(address, "").splitlines()
    }


def change_of(address: str, was: str, now: str) -> CellChange:
    """A change of a cell from one text that the page showed to another."""
    return CellChange(was=cell_text(address, was), now=cell_text(address, now))


def shown_cells(cells: Mapping[str, str]) -> dict[str, str]:
    """The cells as a page shows them: a night in the order of the program, an instant of a phone
    as the clock showed it."""
    night = cells.get("night", "")
    shown = {
        address: _clock_shown(text, night) if _is_clock(address) else text
        for address, text in cells.items()
    }
    try:
        return {**shown, "night": in_digits(dt.date.fromisoformat(night))}
    except ValueError:
        return shown


def stored_changes(
    changes: Mapping[str, CellChange], cells: Mapping[str, str]
) -> dict[str, CellChange]:
    """The changes of a page by what is stored, where that is shown in another way. A clock time
    that was left as it was shown stays the instant that it is."""
    shown = shown_cells(cells)

    def stored(address: str, change: CellChange) -> CellChange:
        raw = cells.get(address, "")
        if not _is_clock(address) or raw == change.was or shown.get(address) != change.was:
            return change
        return CellChange(was=raw, now=raw if change.now == change.was else change.now)

    return {address: stored(address, change) for address, change in changes.items()}


def _is_clock(address: str) -> bool:
    return address.startswith("stops.") and address.rpartition(".")[2] in CLOCK_FIELDS


def _clock_shown(text: str, night: str) -> str:
    """`9:14 pm`; an instant of another night is shown whole, so that it can be seen."""
    try:
        instant = dt.datetime.fromisoformat(text)
        is_of_night = night_of(instant, style().time_zone).isoformat() == night
    except ValueError:
        return text
    if instant.tzinfo is None or not is_of_night:
        return text
    return clock(instant).replace("\u00a0", " ")


def cell_text(address: str, typed: str) -> str:
    """What is kept of what was typed: as it is, but for a night in the order of the program, such
    as 3/12/2026. The sheet keeps it as 2026-03-12, which no later change of the order can turn
    into another night."""
    if address != "night":
        return typed
    try:
        return read_date(typed, style().order).isoformat()
    except DateError:
        return typed


def _rendered_cells(posted: QueryDict) -> dict[str, str]:
    """The cells as rendered on the posted page; none when the page does not say."""
    try:
        rendered = dict(json.loads(posted.get("rendered", "{}")))
    except (ValueError, TypeError, RecursionError):
        return {}
    return {str(address): str(text) for address, text in rendered.items()}
