"""What a program asks for on one night: the protocol version in force, the stops in use, the
species on the checklist and the program's own fields.

Every function takes rows that are already loaded, so that a caller who needs many nights asks
the database once. The database view `counted_call` says "on the checklist" once more, in
SQL; `tests/integration/test_counted_views.py` holds the two together.
"""

import datetime as dt
from collections.abc import Iterable

from surveys.models import (
    ChecklistEntry,
    OwnField,
    ProtocolVersion,
    Stop,
)
from surveys.protocol import own_fields


def includes(first: dt.date | None, last: dt.date | None, night: dt.date) -> bool:
    """Whether a night lies between two nights, both included; None leaves that end open."""
    return (first is None or first <= night) and (last is None or night <= last)


def version_in_force(versions: Iterable[ProtocolVersion], night: dt.date) -> ProtocolVersion | None:
    """The version of one protocol under which a visit on `night` is surveyed; None before the
    first began."""
    begun = (version for version in versions if version.in_force_from <= night)
    return max(begun, key=lambda version: (version.in_force_from, version.number), default=None)


def stops_in_use(stops: Iterable[Stop], night: dt.date) -> list[Stop]:
    """The stops that are part of their route on `night`, in the order given."""
    return [stop for stop in stops if includes(stop.active_from, stop.active_until, night)]


def entries_listed(entries: Iterable[ChecklistEntry], night: dt.date) -> list[ChecklistEntry]:
    """The checklist as it stands on `night`, in the order given."""
    return [entry for entry in entries if includes(entry.listed_from, entry.listed_until, night)]


def own_fields_on(rows: Iterable[OwnField], night: dt.date) -> tuple[own_fields.OwnField, ...]:
    """The program's own fields as they stand on `night`, in the order given: all of them, those
    that are not asked that night too."""
    return tuple(_field_on(row, night) for row in rows)


def _field_on(row: OwnField, night: dt.date) -> own_fields.OwnField:
    asked = includes(row.asked_from, row.asked_until, night)
    return own_fields.OwnField(
        key=row.key,
        label=row.label,
        help=row.help,
        kind=own_fields.FieldKind(row.kind),
        per=own_fields.AskedPer(row.per),
        unit=row.unit,
        low=row.low,
        high=row.high,
        choices=tuple((key, label) for key, label in row.choices),
        asked=asked,
        required=asked and row.required_from is not None and row.required_from <= night,
    )
