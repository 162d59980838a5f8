"""The history of a program: who changed what, when, from what to what.

Rows of history are written by triggers of the database, and those of visits by the review. What
one transaction did to things of one kind is one entry, so that an import of a thousand stops is a
line; so are the steps that somebody took on visits within one minute.
"""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any

from django.db.models import Count, Max, Model, Q, QuerySet
from django.db.models.functions import TruncMinute
from django.utils.translation import gettext_lazy
from pghistory.models import Context

from accounts.access import Permission, require
from accounts.edit_conflicts import Difference, differences
from accounts.models import Membership, Person
from accounts.past_observers import merged_in_words
from surveys.dates import day
from surveys.language import gettext, said
from surveys.models import ReviewStep, Step, Visit
from surveys.programs.history_groups import changes_together
from surveys.programs.history_kinds import BY_CODE, KINDS, Kind

VISITS, PEOPLE = "visits", "people"
KIND_LABELS = {kind.code: kind.label for kind in KINDS} | {VISITS: gettext_lazy("Visits")}
ACTS = {
    "insert": gettext_lazy("Added"),
    "update": gettext_lazy("Changed"),
    "delete": gettext_lazy("Deleted"),
}
_SOURCES = tuple(KIND_LABELS)
# Things of one entry that are named; of more, their number is told.
NAMED = 5


@dataclass(frozen=True, kw_only=True)
class HistoryFilters:
    kind: str = ""
    person: int | None = None
    since: dt.datetime | None = None
    until: dt.datetime | None = None


@dataclass(frozen=True, kw_only=True)
class Place:
    """Where an entry stands: latest first, then by kind and the row of its history."""

    at: dt.datetime
    source: int
    last: int

    def __str__(self) -> str:
        return f"{self.at.isoformat()}~{self.source}~{self.last}"

    @classmethod
    def read(cls, text: str | None) -> Place | None:
        """None for what is no place."""
        try:
            at, source, last = (text or "").split("~")
            place = cls(at=dt.datetime.fromisoformat(at), source=int(source), last=int(last))
        except ValueError:
            return None
        in_range = 0 <= place.last < 2**63 and place.at.tzinfo is not None
        return place if in_range else None


@dataclass(frozen=True, kw_only=True)
class Entry:
    """What one person did to things of one kind at one time. `things` are the first few."""

    place: Place
    kind: str
    act: str
    by: Person | None
    number: int
    things: tuple[str, ...]
    changes: tuple[Difference, ...] = ()
    note: str = ""
    # The row of history, and the id of what it is about, of an entry about one thing.
    event: int | None = None
    thing: Any = None


@dataclass(frozen=True, kw_only=True)
class _Unit:
    place: Place
    number: int
    label: str
    context: Any = None
    by: int | None = None
    minute: dt.datetime | None = None


def history(
    member: Membership, filters: HistoryFilters, *, size: int, after: Place | None = None
) -> tuple[list[Entry], Place | None]:
    """A page of entries, latest first, and where the next one begins. A few queries a kind."""
    require(member, Permission.MANAGE)
    units: list[_Unit] = []
    for source, kind in enumerate(_SOURCES):
        if filters.kind in ("", kind):
            read = _visit_units if kind == VISITS else _event_units
            units += read(member, source, filters, after)[: size + 1]
    units.sort(key=lambda unit: (unit.place.source, -unit.place.last))
    units.sort(key=lambda unit: unit.place.at, reverse=True)
    shown = units[:size]
    entries = list(_entries(member, shown))
    return entries, shown[-1].place if len(units) > size else None


def _within(filters: HistoryFilters, at: str) -> Q:
    within = Q()
    if filters.since:
        within &= Q(**{f"{at}__gte": filters.since})
    if filters.until:
        within &= Q(**{f"{at}__lt": filters.until})
    return within


def _after(source: int, after: Place | None, at: str) -> Q:
    if after is None:
        return Q()
    later = Q(**{f"{at}__lt": after.at})
    if source > after.source:
        return later | Q(**{at: after.at})
    if source == after.source:
        return later | Q(**{at: after.at, "last__lt": after.last})
    return later


def _event_units(
    member: Membership, source: int, filters: HistoryFilters, after: Place | None
) -> _Units:
    kind = BY_CODE[_SOURCES[source]]
    events = _events(member, kind).filter(_within(filters, "pgh_created_at"))
    if filters.person is not None:
        events = events.filter(pgh_context__metadata__user=filters.person)
    rows = (
        events.order_by()
        .values("pgh_created_at", "pgh_context_id", "pgh_label")
        .annotate(number=Count("pk"), last=Max("pk"))
        .filter(_after(source, after, "pgh_created_at"))
        .order_by("-pgh_created_at", "-last")
    )
    return _Units(
        rows,
        lambda row: _Unit(
            place=Place(at=row["pgh_created_at"], source=source, last=row["last"]),
            number=row["number"],
            label=row["pgh_label"],
            context=row["pgh_context_id"],
        ),
    )


def _visit_units(
    member: Membership, source: int, filters: HistoryFilters, after: Place | None
) -> _Units:
    steps = _steps(member).filter(_within(filters, "at"))
    if filters.person is not None:
        steps = steps.filter(by=filters.person)
    rows = (
        steps.order_by()
        .values("by", "step", minute=TruncMinute("at"))
        .annotate(number=Count("pk"), last=Max("pk"), latest=Max("at"))
        .filter(_after(source, after, "latest"))
        .order_by("-latest", "-last")
    )
    return _Units(
        rows,
        lambda row: _Unit(
            place=Place(at=row["latest"], source=source, last=row["last"]),
            number=row["number"],
            label=row["step"],
            by=row["by"],
            minute=row["minute"],
        ),
    )


class _Units:
    """Rows of a query as units, as many as are asked for."""

    def __init__(self, rows: QuerySet, make: Any) -> None:
        self.rows, self.make = rows, make

    def __getitem__(self, part: slice) -> list[_Unit]:
        return [self.make(row) for row in self.rows[part]]


def _events(member: Membership, kind: Kind) -> QuerySet:
    return kind.events.objects.filter(**{kind.scope: member.program_id})


def _steps(member: Membership) -> QuerySet[ReviewStep]:
    return ReviewStep.objects.filter(visit__route__program=member.program_id)


def _entries(member: Membership, units: list[_Unit]) -> Iterator[Entry]:
    contexts = Context.objects.in_bulk({unit.context for unit in units if unit.context})
    users = {pk: context.metadata.get("user") for pk, context in contexts.items()}
    people = Person.objects.in_bulk(
        {user for user in users.values() if user} | {unit.by for unit in units if unit.by}
    )
    single = _single_events(units)
    for unit in units:
        if unit.minute is not None:
            yield _visit_entry(member, unit, people.get(unit.by))
            continue
        kind = BY_CODE[_SOURCES[unit.place.source]]
        by = people.get(users.get(unit.context))
        if unit.number == 1:
            event, before = single[unit.place.source, unit.place.last]
            context = contexts.get(unit.context)
            merged = merged_in_words(member.program_id, context.metadata if context else {})
            yield _single_entry(unit, kind, by, event, before, merged=merged)
        else:
            yield _group_entry(member, unit, kind, by)


def _single_events(units: Iterable[_Unit]) -> dict[tuple[int, int], tuple[Model, Model | None]]:
    """The event of each entry about one thing, with the one before it. Two queries a kind."""
    wanted: dict[int, list[int]] = defaultdict(list)
    for unit in units:
        if unit.minute is None and unit.number == 1:
            wanted[unit.place.source].append(unit.place.last)
    found = {}
    for source, keys in wanted.items():
        model = BY_CODE[_SOURCES[source]].events
        events = model.objects.in_bulk(keys)
        earlier: dict[Any, list[Model]] = defaultdict(list)
        things = {event.pgh_obj_id for event in events.values()}
        for row in model.objects.filter(pgh_obj_id__in=things).order_by("-pk"):
            earlier[row.pgh_obj_id].append(row)
        for key, event in events.items():
            before = next((row for row in earlier[event.pgh_obj_id] if row.pk < key), None)
            found[source, key] = event, before
    return found


def _single_entry(
    unit: _Unit,
    kind: Kind,
    by: Person | None,
    event: Model,
    before: Model | None,
    *,
    merged: str,
) -> Entry:
    """`merged` names a person who was merged into another, and who is gone since."""
    changes: tuple[Difference, ...] = ()
    name = kind.name_of(event)
    if not name:
        nobody = gettext("someone whose name is not kept")
        name = (merged or nobody) if kind.code == PEOPLE else gettext("no longer known")
    if unit.label == "update" and before is not None:
        changes = differences(kind.facts_of(before), kind.facts_of(event))
    return Entry(
        place=unit.place,
        kind=kind.code,
        act=unit.label,
        by=by,
        number=1,
        things=(name,),
        changes=changes,
        event=event.pk,
        thing=event.pgh_obj_id,
    )


def _group_entry(member: Membership, unit: _Unit, kind: Kind, by: Person | None) -> Entry:
    events = _events(member, kind).filter(
        pgh_created_at=unit.place.at, pgh_context_id=unit.context, pgh_label=unit.label
    )
    return Entry(
        place=unit.place,
        kind=kind.code,
        act=unit.label,
        by=by,
        number=unit.number,
        things=tuple(kind.name_of(event) for event in events.order_by("pk")[:NAMED]),
        changes=changes_together(kind, events) if unit.label == "update" else (),
    )


def _visit_entry(member: Membership, unit: _Unit, by: Person | None) -> Entry:
    steps = _steps(member).filter(
        by=unit.by,
        step=unit.label,
        at__gte=unit.minute,
        at__lt=unit.minute + dt.timedelta(minutes=1),
    )
    first = list(steps.select_related("visit__route").order_by("at", "pk")[:NAMED])
    return Entry(
        place=unit.place,
        kind=VISITS,
        act=unit.label,
        by=by,
        number=unit.number,
        things=tuple(visit_name(step.visit) for step in first),
        note=first[0].note if unit.number == 1 else "",
        thing=first[0].visit_id if unit.number == 1 else None,
    )


def visit_name(visit: Visit) -> str:
    return said("{route}, night of {night}", route=visit.route.code, night=day(visit.night))


def act_in_words(entry: Entry) -> str:
    return str(Step(entry.act).label if entry.kind == VISITS else ACTS[entry.act])
