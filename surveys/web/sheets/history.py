"""The sheet as submitted each time, and what changed between submissions."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from surveys.models import (
    Program,
    Species,
    Submission,
    Visit,
)
from surveys.protocol.own_fields import CELL
from surveys.visits.companions import names_of_companions
from surveys.visits.own_values import labels_by_cell
from surveys.visits.sheet.cells import (
    SIGHTING_FIELDS,
    STOP_FIELDS,
    VISIT_FIELDS,
    WEATHER_FIELDS,
)
from surveys.web.sheets.cell_words import person_key, place_words, text_words

_ENDS = ("start", "end")
_UNKNOWN_PART = 9


@dataclass(frozen=True, kw_only=True)
class TypedCell:
    """A cell: its place and its text in words."""

    address: str
    place: str
    text: str


@dataclass(frozen=True, kw_only=True)
class CellDifference:
    """A cell that differs between two submissions; an empty text is a blank cell."""

    place: str
    before: str
    after: str


@dataclass(frozen=True, kw_only=True)
class SheetRevision:
    """One submission. `changes` is None for the first."""

    submission: Submission
    cells: tuple[TypedCell, ...]
    changes: tuple[CellDifference, ...] | None


def sheet_revisions(visit: Visit) -> tuple[SheetRevision, ...]:
    """Every submission of the visit, latest first, in two queries."""
    submissions = list(visit.submissions.select_related("submitted_by").order_by("revision"))
    names = _species_names(visit.route.program, submissions) | labels_by_cell(visit.route.program)
    on_sheets = names_of_companions((row.cells for row in submissions), visit.route.program)
    names |= {person_key(text): name for text, name in on_sheets.items()}
    revisions = []
    before: Submission | None = None
    for submission in submissions:
        revisions.append(
            SheetRevision(
                submission=submission,
                cells=typed_cells(submission.cells, names),
                changes=differences(before.cells, submission.cells, names) if before else None,
            )
        )
        before = submission
    return tuple(reversed(revisions))


def typed_cells(cells: Mapping[str, str], names: Mapping[str, str]) -> tuple[TypedCell, ...]:
    """The filled cells in the order of the sheet. `names` leads from codes of species and cells of
    own fields to names."""
    return tuple(
        TypedCell(
            address=address,
            place=place_words(address, names),
            text=text_words(address, cells[address], names),
        )
        for address in sorted(cells, key=sheet_order)
        if cells[address].strip()
    )


def differences(
    before: Mapping[str, str], after: Mapping[str, str], names: Mapping[str, str]
) -> tuple[CellDifference, ...]:
    """The cells whose texts differ, in the order of the sheet."""
    return tuple(
        CellDifference(
            place=place_words(address, names),
            before=text_words(address, before.get(address, ""), names),
            after=text_words(address, after.get(address, ""), names),
        )
        for address in sorted({*before, *after}, key=sheet_order)
        if before.get(address, "") != after.get(address, "")
    )


def sheet_order(address: str) -> tuple[int, int, int, str]:
    """Sort key that orders addresses as on the sheet: the evening, the stops, the sightings."""
    head, _, rest = address.partition(".")
    if address in VISIT_FIELDS:
        return 0, 0, VISIT_FIELDS.index(address), ""
    if address.startswith(CELL):
        return 0, 0, len(VISIT_FIELDS), address
    if head in _ENDS:
        return 1, _ENDS.index(head), _index(WEATHER_FIELDS, rest), rest
    number, _, field = rest.partition(".")
    if head in ("stops", "sightings") and number.isdecimal():
        part, fields = (2, STOP_FIELDS) if head == "stops" else (3, SIGHTING_FIELDS)
        return part, int(number), _index(fields, field), field
    return _UNKNOWN_PART, 0, 0, address


def _index(fields: tuple[str, ...], field: str) -> int:
    return fields.index(field) if field in fields else len(fields)


def _species_names(program: Program, submissions: list[Submission]) -> dict[str, str]:
    codes = {
        text if address.endswith(".species") else address.partition(".calls.")[2]
        for submission in submissions
        for address, text in submission.cells.items()
        if ".calls." in address or address.endswith(".species")
    }
    return {row.code: row.name for row in Species.objects.known_to(program).filter(code__in=codes)}
