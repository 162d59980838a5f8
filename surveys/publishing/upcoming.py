"""What a new version would change against the last one, told before it is published.

Visits that come or drop out, and the numbers of the yearly table, are exact. Of those in both,
visits are told that may differ: review did something to them, a call was confirmed, or their
observer is published under another name. Trends are worked out again by the worker, so their
numbers can only be compared afterwards.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from django.core.exceptions import ValidationError

from surveys.language import gettext, said, said_of
from surveys.models import Program, Publication
from surveys.protocol.words import listed
from surveys.publishing import tables
from surveys.publishing.causes import Visits
from surveys.publishing.differences import (
    OBSERVER,
    NumberChange,
    Row,
    VisitChange,
    Why,
    compared_numbers,
    steps_between,
    with_steps,
)
from surveys.publishing.freeze import counted_visits, observers
from surveys.publishing.frozen import read_rows, table_bytes
from surveys.publishing.people import published_name
from surveys.publishing.publish import Preview
from surveys.publishing.reading import rows_of
from surveys.publishing.yearly import yearly_cells

_YEAR = re.compile(r"\b(19\d\d|20\d\d)\b")
_WORD = re.compile(r"[A-Za-z0-9][A-Za-z0-9-]*")


@dataclass(frozen=True, kw_only=True)
class Upcoming:
    """Against `previous`. `routes` are the codes of all routes of the program."""

    previous: Publication
    visits: Visits
    numbers: tuple[NumberChange, ...]
    routes: frozenset[str]

    @property
    def nothing(self) -> bool:
        return not (self.visits or self.numbers)

    @property
    def season_years(self) -> set[int]:
        place = tables.YEARLY.key.index("season_year")
        return {one.season_year for one in self._all_visits} | {
            int(str(number.key[place])) for number in self.numbers
        }

    @property
    def routes_that_change(self) -> set[str]:
        return {one.route for one in self._all_visits}

    @property
    def _all_visits(self) -> Iterable[VisitChange]:
        return (*self.visits.came, *self.visits.went, *self.visits.changed)


def upcoming(program: Program, shown: Preview) -> Upcoming | None:
    """None without an earlier version, or where its tables were withdrawn."""
    previous = shown.previous
    if previous is None or previous.withdrawn:
        return None
    now = _visits_now(program, shown.season_year)
    header, rows = rows_of(previous, "visits")
    places = [header.index(name) for name in ("visit", "route", "night", "season_year", "observer")]
    before = {
        str(row[places[0]]): VisitChange(
            visit=str(row[places[0]]),
            route=str(row[places[1]]),
            night=row[places[2]],
            season_year=int(str(row[places[3]])),
            observer=str(row[places[4]]),
        )
        for row in rows
    }
    if previous.visit_count and not before:
        # From before publications had a table of visits.
        now = {}
    steps = steps_between(program.pk, {*before, *now}, previous.published_at)
    return Upcoming(
        previous=previous,
        visits=Visits(
            came=_in_order(with_steps((now[key] for key in now.keys() - before.keys()), steps)),
            went=_in_order(with_steps((before[key] for key in before.keys() - now.keys()), steps)),
            changed=_in_order(with_steps(_may_differ(before, now, steps), steps)),
        ),
        numbers=compared_numbers(
            "yearly",
            rows_of(previous, "yearly")[1],
            _as_published(shown),
        ),
        routes=frozenset(program.routes.values_list("code", flat=True)),
    )


def _as_published(shown: Preview) -> Iterator[Row]:
    """The yearly table as its file will have it, rounded."""
    file = table_bytes(tables.YEARLY, yearly_cells(shown.rows)).decode()
    return read_rows(file.splitlines(keepends=True), tables.YEARLY)


def _may_differ(
    before: Mapping[str, VisitChange],
    now: Mapping[str, VisitChange],
    steps: Mapping[str, tuple[Why, ...]],
) -> Iterator[VisitChange]:
    for key in now.keys() & before.keys():
        renamed = now[key].observer != before[key].observer
        if renamed or key in steps:
            yield replace(now[key], what=(OBSERVER,) if renamed else ())


def _visits_now(program: Program, season_year: int) -> dict[str, VisitChange]:
    """With their observers as they would be published."""
    names = {one.pk: published_name(one, program) for one in observers(program, season_year)}
    visits = counted_visits(program, season_year)
    rows = visits.values_list("pk", "route__code", "night", "season_year", "observer")
    return {
        str(pk): VisitChange(
            visit=str(pk), route=route, night=night, season_year=year, observer=names[observer]
        )
        for pk, route, night, year, observer in rows
    }


def _in_order(changes: Iterable[VisitChange]) -> Sequence[VisitChange]:
    return sorted(changes, key=lambda one: (one.night, one.route, one.visit))


def check_reason(reason: str, changes: Upcoming) -> None:
    """Raise ValidationError where the reason speaks of a season or a route of which nothing
    changes."""
    years = {int(year) for year in _YEAR.findall(reason)}
    if strange := sorted(years - changes.season_years):
        raise ValidationError(
            said(
                "The reason names {years}. What changes is of {changed}.",
                years=listed(strange),
                changed=listed(sorted(changes.season_years)) or gettext("no season"),
            )
        )
    named = set(_WORD.findall(reason)) & changes.routes
    if other := sorted(named - changes.routes_that_change):
        raise ValidationError(
            said_of(
                "The reason names route {routes}. No visit of it changes.",
                "The reason names routes {routes}. No visit of them changes.",
                len(other),
                routes=listed(other),
            )
        )
