"""What changed between two versions of a publication, from their frozen tables.

Visits are compared by everything the tables hold of them: their own row, their listening periods
and what was heard; not by what follows from other visits, from the checklist or from the place of
a stop. Numbers are compared as they were published.
"""

from __future__ import annotations

import datetime as dt
import hashlib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

from django.core.cache import cache

from surveys.language import gettext, gettext_noop
from surveys.models import (
    Confirmation,
    Publication,
    ReviewStep,
    Step,
)
from surveys.publishing.formats.yearly_csv import unguard
from surveys.publishing.frozen import Value
from surveys.publishing.reading import (
    cells_of,
    rows_of,
)
from surveys.publishing.tables import TABLE
from surveys.trends.former_codes import current_cell

NUMBERS = ("yearly", "occupancy", "trends")
# Steps of review that can change what a visit brings to the tables.
CHANGING_STEPS = (Step.CORRECTED, Step.SETTLED, Step.SENT_BACK, Step.ACCEPTED, Step.SET_ASIDE,
           Step.REOPENED)  # fmt: skip
# The parts of a visit, and the table that holds each.
PARTS = {"visit": "visits", "observer": "visits", "stops": "periods", "calls": "calls",
         "own": "own_values"}  # fmt: skip
OBSERVER = gettext_noop("its observer")
WORDS = {
    "visit": gettext_noop("the visit itself"),
    "observer": OBSERVER,
    "stops": gettext_noop("its stops"),
    "calls": gettext_noop("what was heard"),
    "own": gettext_noop("its own fields"),
}
# Columns of a part that are no part of the visit: they follow from other visits, or from a place.
_FOLLOWS = {
    "visit": {"observer", "visit_number", "first_season"},
    "observer": {*TABLE["visits"].header} - {"visit", "observer"},
    "stops": {"minutes_after_sunset"},
}
_OBSERVER = TABLE["visits"].header.index("observer")
_SEASON_YEAR = TABLE["visits"].header.index("season_year")
# What is compared never changes, so neither does what comes of it.
_KEPT_S = 30 * 24 * 3600
# To be raised when `Difference` or what goes into it changes.
_FORM = 6
Row = tuple[Value, ...]


@dataclass(frozen=True, kw_only=True)
class Why:
    """A step that was carried out on a visit between the two versions."""

    step: str
    at: dt.datetime
    by: str
    note: str


@dataclass(frozen=True, kw_only=True)
class VisitChange:
    """`what` says which of its parts differ: the visit itself, its stops, what was heard."""

    visit: str
    route: str
    night: dt.date
    season_year: int
    observer: str
    what: tuple[str, ...] = ()
    why: tuple[Why, ...] = ()


@dataclass(frozen=True, kw_only=True)
class NumberChange:
    """A cell of a table of results, as it was and as it is; None for blank or no such row."""

    key: tuple[Value, ...]
    column: str
    before: Value
    after: Value


@dataclass(frozen=True, kw_only=True)
class Difference:
    """`other_tables` are the titles of tables beside these that differ in any way, `relisted` the
    scientific names of species that are on the checklist for other nights."""

    came: tuple[VisitChange, ...]
    went: tuple[VisitChange, ...]
    changed: tuple[VisitChange, ...]
    numbers: Mapping[str, tuple[NumberChange, ...]]
    other_tables: tuple[str, ...]
    relisted: frozenset[str] = frozenset()

    @property
    def nothing(self) -> bool:
        visits = self.came or self.went or self.changed
        return not (visits or any(self.numbers.values()) or self.other_tables)


def forget_differences(publication: Publication) -> None:
    """Drop what was kept of a publication that is withdrawn."""
    others = publication.program.publications.filter(season_year=publication.season_year)
    cache.delete_many(
        key for other in others for key in (_key(other, publication), _key(publication, other))
    )


def _key(older: Publication, newer: Publication) -> str:
    return f"difference:{_FORM}:{older.sha256}:{newer.sha256}"


def difference(older: Publication, newer: Publication) -> Difference:
    """The tables are compared once for each pair of checksums; what was done in review is read
    every time, because names of people may change."""
    key = _key(older, newer)
    compared = cache.get(key)
    if compared is None:
        compared = _compare(older, newer)
        cache.set(key, compared, _KEPT_S)
    changes = (*compared.came, *compared.went, *compared.changed)
    why = steps_between(
        newer.program_id,
        [change.visit for change in changes],
        older.published_at,
        newer.published_at,
    )
    return replace(
        compared,
        came=with_steps(compared.came, why),
        went=with_steps(compared.went, why),
        changed=with_steps(compared.changed, why),
    )


def with_steps(
    changes: Iterable[VisitChange], why: Mapping[str, tuple[Why, ...]]
) -> tuple[VisitChange, ...]:
    return tuple(replace(change, why=why.get(change.visit, ())) for change in changes)


def _compare(older: Publication, newer: Publication) -> Difference:
    """Read piece by piece; of the large tables only checksums stay in memory."""
    before, after = _visits(older), _visits(newer)
    parts = {name: _parts_of_both(older, newer, name) for name in PARTS}
    changed = {
        visit: tuple(
            WORDS[name] for name, (was, now) in parts.items() if was.get(visit) != now.get(visit)
        )
        for visit in before.keys() & after.keys()
    }
    changed = {visit: what for visit, what in changed.items() if what}

    def listed(visits: Iterable[str], rows: Mapping[str, Row]) -> tuple[VisitChange, ...]:
        changes = [
            VisitChange(
                visit=visit,
                route=str(rows[visit][1]),
                night=rows[visit][2],
                season_year=int(str(rows[visit][_SEASON_YEAR])),
                observer=str(rows[visit][_OBSERVER]),
                what=changed.get(visit, ()),
            )
            for visit in visits
        ]
        return tuple(sorted(changes, key=lambda change: (change.night, change.route, change.visit)))

    return Difference(
        came=listed(after.keys() - before.keys(), after),
        went=listed(before.keys() - after.keys(), before),
        changed=listed(changed, after),
        numbers={name: _numbers(older, newer, name) for name in NUMBERS},
        other_tables=_other_tables(older, newer),
        relisted=_relisted(older, newer),
    )


def _visits(publication: Publication) -> dict[str, Row]:
    return {str(row[0]): row for row in rows_of(publication, "visits")[1]}


def _parts_of_both(
    older: Publication, newer: Publication, part: str
) -> tuple[dict[str, int], dict[str, int]]:
    """The parts of each visit by the columns that both publications have: a column that came with
    the software is no change of the visit. So is a zero of a species that was listed or taken off
    the checklist since."""
    table = PARTS[part]
    both = set(cells_of(newer, table)[0]) - _FOLLOWS.get(part, set())
    shared = [name for name in cells_of(older, table)[0] if name in both]
    relisted = _relisted(older, newer) if part == "calls" else frozenset()
    return _parts(older, part, shared, relisted), _parts(newer, part, shared, relisted)


def _relisted(older: Publication, newer: Publication) -> frozenset[str]:
    """Species that the checklists of the two do not have from and until the same night."""

    def listed(publication: Publication) -> set[tuple[Value, ...]]:
        header, rows = rows_of(publication, "checklist")
        places = [header.index(name) for name in ("species", "listed_from", "listed_until")]
        return {tuple(row[place] for place in places) for row in rows}

    return frozenset(str(row[0]) for row in listed(older) ^ listed(newer))


def _parts(
    publication: Publication, part: str, columns: list[str], relisted: frozenset[str]
) -> dict[str, int]:
    """A checksum of a part of each visit: the sum of those of its rows, whatever their order.
    Zeros of the species `relisted` are left out."""
    sums: dict[str, int] = {}
    header, rows = cells_of(publication, PARTS[part])
    if not columns:  # One of the two is from before there was such a table.
        return sums
    places = [header.index(name) for name in columns]
    if part == "calls":
        visit_of = {row[0]: row[1] for row in cells_of(publication, "periods")[1]}
        species, index = header.index("species"), header.index("call_index")
        keyed = (
            (visit_of[row[0]], row)
            for row in rows
            if row[index] != "0" or unguard(row[species]) not in relisted
        )
    elif part in ("stops", "own"):
        keyed = ((row[1], row) for row in rows)
    else:
        keyed = ((row[0], row) for row in rows)
    for visit, row in keyed:
        sums[visit] = sums.get(visit, 0) + _checksum([row[place] for place in places])
    return sums


def _checksum(row: list[str]) -> int:
    text = "\0".join(row).encode()
    return int.from_bytes(hashlib.blake2b(text, digest_size=16).digest(), "big")


def _numbers(older: Publication, newer: Publication, table: str) -> tuple[NumberChange, ...]:
    return compared_numbers(table, rows_of(older, table)[1], rows_of(newer, table)[1])


def compared_numbers(
    table: str, before_rows: Iterable[Row], after_rows: Iterable[Row]
) -> tuple[NumberChange, ...]:
    """The cells of a table of results that differ, in the order of their keys."""
    shape = TABLE[table]
    places = [shape.header.index(name) for name in shape.key]

    def by_key(rows: Iterable[Row]) -> dict[Row, Row]:
        return {
            tuple(row[at] for at in places): _with_codes_of_today(shape.header, row) for row in rows
        }

    was, now = by_key(before_rows), by_key(after_rows)
    blank: Row = (None,) * len(shape.columns)
    return tuple(
        NumberChange(key=key, column=name, before=before, after=after)
        for key in sorted({*was, *now}, key=str)
        for name, before, after in zip(
            shape.header, was.get(key, blank), now.get(key, blank), strict=True
        )
        if before != after and name not in shape.key
    )


def _with_codes_of_today(header: Iterable[str], row: Row) -> Row:
    """A code that was written otherwise before is no change."""
    return tuple(
        current_cell(name, value) if isinstance(value, str) else value
        for name, value in zip(header, row, strict=True)
    )


def _other_tables(older: Publication, newer: Publication) -> tuple[str, ...]:
    compared = {TABLE[name].file for name in (*NUMBERS, *PARTS.values())}
    before, after = (
        dict(publication.files.values_list("kind", "sha256")) for publication in (older, newer)
    )
    return tuple(
        table.title
        for table in TABLE.values()
        if table.file not in compared and before.get(table.file) != after.get(table.file)
    )


def steps_between(
    program_id: int, visits: Iterable[str], since: dt.datetime, until: dt.datetime | None = None
) -> dict[str, tuple[Why, ...]]:
    """What was done to the visits after one time and up to another, or up to now."""
    steps = ReviewStep.objects.filter(
        visit__in=list(visits),
        visit__route__program=program_id,
        step__in=CHANGING_STEPS,
        at__gt=since,
    )
    confirmations = Confirmation.objects.filter(
        call__period__visit__in=list(visits),
        call__period__visit__route__program=program_id,
        at__gt=since,
    )
    if until is not None:
        steps, confirmations = steps.filter(at__lte=until), confirmations.filter(at__lte=until)
    reasons: dict[str, list[Why]] = {}
    for step in steps.select_related("by").order_by("at", "pk"):
        reasons.setdefault(str(step.visit_id), []).append(
            Why(step=step.get_step_display(), at=step.at, by=step.by.name, note=step.told_note)
        )
    by_ear = confirmations.select_related("by", "call__period").order_by("at", "pk")
    for one in by_ear:
        reasons.setdefault(str(one.call.period.visit_id), []).append(
            Why(step=gettext("Confirmed by ear"), at=one.at, by=one.by.name, note="")
        )
    return {
        visit: tuple(sorted(of_visit, key=lambda why: why.at))
        for visit, of_visit in reasons.items()
    }
