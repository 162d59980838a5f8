"""What one transaction changed in many things of one kind, told together."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from typing import Any

from django.db.models import Model, QuerySet

from accounts.edit_conflicts import Difference, differences
from surveys.language import gettext, said, said_of
from surveys.programs.history_kinds import Kind

# So many things are looked at, and so many different changes of them are put into words.
_MOST_THINGS = 500
_MOST_CHANGES = 60
_MOST_VALUES = 3


def changes_together(kind: Kind, events: QuerySet) -> tuple[Difference, ...]:
    """A line for each field that changed: its values before and now, each of them once."""
    rows = list(events.order_by("pk")[: _MOST_THINGS + 1])
    found = _different_changes(kind, rows[:_MOST_THINGS])
    is_all = len(rows) <= _MOST_THINGS and len(found) <= _MOST_CHANGES
    values: dict[str, tuple[list[str], list[str]]] = defaultdict(lambda: ([], []))
    for before, event in found[:_MOST_CHANGES]:
        for one in differences(kind.facts_of(before), kind.facts_of(event)):
            values[one.label][0].append(one.before)
            values[one.label][1].append(one.now)
    return tuple(
        Difference(
            label=label,
            before=_told(before, is_all=is_all),
            now=_told(now, is_all=is_all),
        )
        for label, (before, now) in values.items()
    )


def _different_changes(kind: Kind, events: Sequence[Model]) -> list[tuple[Model, Model]]:
    """Rows of history before and after, one pair for all things to which the same was done."""
    names = [field.attname for field in kind.model._meta.concrete_fields]
    earlier = _rows_before(kind, events)
    changes: dict[tuple[Any, ...], tuple[Model, Model]] = {}
    for event in events:
        before = earlier.get(event.pk)
        if before is not None:
            pairs = ((name, getattr(before, name), getattr(event, name)) for name in names)
            key = tuple((name, str(was), str(now)) for name, was, now in pairs if was != now)
            changes.setdefault(key, (before, event))
    return list(changes.values())


def _rows_before(kind: Kind, events: Sequence[Model]) -> dict[int, Model]:
    """The row of history before each event, by the event."""
    at = {event.pgh_obj_id: event.pk for event in events}
    rows = kind.events.objects.filter(pgh_obj_id__in=at, pk__lt=max(at.values(), default=0))
    found: dict[int, Model] = {}
    for row in rows.order_by("pk"):
        if row.pk < at[row.pgh_obj_id]:
            found[at[row.pgh_obj_id]] = row
    return found


def _told(values: Iterable[str], *, is_all: bool) -> str:
    distinct = list(dict.fromkeys(value or gettext("blank") for value in values))
    if not is_all:
        return said("{value} and others", value=distinct[0])
    if len(distinct) > _MOST_VALUES:
        others = len(distinct) - 1
        return said_of(
            "{value} and {number} other", "{value} and {number} others", others, value=distinct[0]
        )
    return gettext("; ").join(distinct)
