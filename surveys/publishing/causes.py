"""Groups what differs between two versions by its cause: visits by what was done to them in
review, numbers by the season whose visits changed."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass

from surveys.language import gettext, said_of
from surveys.protocol.words import listed
from surveys.publishing.differences import OBSERVER, NumberChange, VisitChange
from surveys.publishing.tables import TABLE


@dataclass(frozen=True, kw_only=True)
class VisitGroup:
    """Visits to which the same was done. `cause` is empty where nothing is on record."""

    cause: str
    visits: tuple[VisitChange, ...]


@dataclass(frozen=True, kw_only=True)
class NumberGroup:
    """Numbers of one season year, or of all seasons together (None), and why they differ."""

    season_year: int | None
    cause: str
    numbers: tuple[NumberChange, ...]


@dataclass(frozen=True, kw_only=True)
class Visits:
    came: Sequence[VisitChange]
    went: Sequence[VisitChange]
    changed: Sequence[VisitChange]

    def of_season(self, year: int) -> Visits:
        came, went, changed = (
            [one for one in visits if one.season_year == year]
            for visits in (self.came, self.went, self.changed)
        )
        return Visits(came=came, went=went, changed=changed)

    def __bool__(self) -> bool:
        return bool(self.came or self.went or self.changed)


def grouped_visits(changes: Iterable[VisitChange]) -> list[VisitGroup]:
    """The largest group first; visits without a step on record last."""
    groups: dict[str, list[VisitChange]] = defaultdict(list)
    for change in changes:
        steps = dict.fromkeys(str(why.step) for why in change.why)
        cause = gettext(", then ").join(step.lower() for step in steps)
        if not cause and change.what == (OBSERVER,):
            cause = gettext("the observer is published under another name")
        groups[cause].append(change)
    found = [VisitGroup(cause=cause, visits=tuple(rows)) for cause, rows in groups.items()]
    return sorted(found, key=lambda group: (not group.cause, -len(group.visits), group.cause))


def grouped_numbers(
    table: str,
    numbers: Iterable[NumberChange],
    visits: Visits,
    relisted: Collection[str] = (),
) -> list[NumberGroup]:
    """By season year, the latest first; in each, numbers of species that were listed, renamed or
    taken off the checklist since (`relisted`, scientific names) stand apart."""
    key = TABLE[table].key
    place = key.index("season_year") if "season_year" in key else None
    species = key.index("species")
    groups: dict[tuple[int | None, bool], list[NumberChange]] = defaultdict(list)
    for number in numbers:
        year = None if place is None else int(str(number.key[place]))
        groups[year, number.key[species] in relisted].append(number)
    return [
        NumberGroup(
            season_year=year,
            cause=gettext("These species are on the checklist for different nights than before.")
            if is_relisted
            else _in_words(visits if year is None else visits.of_season(year), year),
            numbers=tuple(groups[year, is_relisted]),
        )
        for year, is_relisted in sorted(groups, key=lambda group: (-(group[0] or 0), group[1]))
    ]


def _in_words(visits: Visits, year: int | None) -> str:
    if not visits:
        if year is None:
            return gettext("No visit changed: the software, the checklist or the settings did.")
        return gettext(
            "No visit of this season changed: other seasons, the software, the checklist or the"
            " settings did."
        )
    parts = [
        said_of("{number} visit added", "{number} visits added", len(visits.came)),
        said_of("{number} visit removed", "{number} visits removed", len(visits.went)),
        said_of("{number} visit changed", "{number} visits changed", len(visits.changed)),
    ]
    told = listed(
        part
        for part, rows in zip(parts, (visits.came, visits.went, visits.changed), strict=True)
        if rows
    )
    return told + "."


def numbers_by_table(
    numbers: Mapping[str, Sequence[NumberChange]],
    visits: Visits,
    relisted: Collection[str] = (),
) -> dict[str, list[NumberGroup]]:
    return {
        table: grouped_numbers(table, changes, visits, relisted)
        for table, changes in numbers.items()
        if changes
    }
