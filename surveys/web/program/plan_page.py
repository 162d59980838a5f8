"""What the pages of the plan show: cover by route and window, and who could go."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from accounts.models import Membership
from accounts.training import Validity, validity_in_words, validity_on
from surveys import dates
from surveys.language import gettext, said, said_of
from surveys.models import Program
from surveys.planning.candidates import Candidate
from surveys.programs.cover import Assigned, Away, Window
from surveys.programs.versions import units_of
from surveys.protocol.words import distance
from surveys.seasons.coverage import CoverageCell, CoverageRow, CoverageTable


@dataclass(frozen=True, kw_only=True)
class Name:
    """A name with what stands beside it; `sign` is an icon with the tag of that name."""

    name: str
    beside: str
    sign: str = ""


@dataclass(frozen=True, kw_only=True)
class PlanRow:
    """`cells` follow the windows of the table; each is None or a cell with its names."""

    row: CoverageRow
    cells: tuple[tuple[str, CoverageCell | None, tuple[Name, ...]], ...]


@dataclass(frozen=True, kw_only=True)
class CandidateRow:
    """A candidate in words; `sign` as in `Name`."""

    candidate: Candidate
    test: Name
    distance: str
    routes: str
    can_go: str
    offer: str


def plan_rows(table: CoverageTable, today: dt.date, *, only_gaps: bool) -> list[PlanRow]:
    """A row a route; only those with a gap where it is asked for."""
    return [
        PlanRow(
            row=row,
            cells=tuple(
                (name, cell, names_of(cell, today, table.plan.away) if cell else ())
                for name, cell in zip(table.windows, row.cells, strict=True)
            ),
        )
        for row in table.rows
        if not only_gaps or any(cell is not None and cell.is_gap for cell in row.cells)
    ]


def names_of(
    cell: CoverageCell, today: dt.date, away: Mapping[int, Sequence[Away]]
) -> tuple[Name, ...]:
    """Who will go, who is assigned and cannot, who has left. `away` by the id of the membership."""
    cover = cell.cover
    night = max(today, cell.window.opens)
    going = tuple(
        with_test(
            goer.member,
            night,
            said("for {name}", name=goer.instead_of.person.name) if goer.instead_of else "",
            nights_away(away.get(goer.member.pk, ()), [cell.window], today),
        )
        for goer in cover.going
    )
    away = tuple(
        Name(name=member.person.name, beside=gettext("cannot go"), sign="query")
        for member in cover.away
    )
    left = tuple(
        Name(name=member.person.name, beside=gettext("left"), sign="set-aside")
        for member in cover.left
    )
    return (*going, *away, *left)


def nights_away(away: Sequence[Away], windows: Sequence[Window], today: dt.date) -> str:
    """The nights left in the windows on which somebody cannot go; empty if there are none."""
    left = [(max(one.opens, today), one.closes) for one in windows]
    spans = [
        dates.span(one.first, one.last)
        for one in away
        if any(one.first <= closes and one.last >= opens for opens, closes in left)
    ]
    return said("cannot go {nights}", nights=gettext(", ").join(spans)) if spans else ""


def with_test(member: Membership, night: dt.date, *parts: str) -> Name:
    """A name with whether the member's call-identification test holds on a night."""
    is_valid = validity_on(member, night) is Validity.VALID
    words = [*parts, validity_in_words(member, night)]
    return Name(
        name=member.person.name,
        beside="; ".join(word for word in words if word),
        sign="" if is_valid else "note",
    )


def gaps_in(table: CoverageTable) -> int:
    return sum(cell is not None and cell.is_gap for row in table.rows for cell in row.cells)


def parts_of(assigned: Sequence[Assigned], window: str) -> list[tuple[Assigned, int | None]]:
    """Who is assigned in a window, each with the id of who stands in for them there."""
    return [(one, one.substitute_ids.get(window)) for one in assigned if one.has(window)]


def candidate_rows(
    program: Program, found: Sequence[Candidate], windows: Sequence[Window], today: dt.date
) -> list[CandidateRow]:
    """Who could go in some windows that are not over."""
    unit = units_of(program).distance
    night = max(today, min((one.opens for one in windows), default=today))
    return [
        CandidateRow(
            candidate=one,
            test=with_test(one.member, night),
            distance=_distance(one, unit),
            routes=said_of("{number} route", "{number} routes", one.routes),
            can_go=_can_go(one, windows, today),
            offer=_offer(one),
        )
        for one in found
    ]


def _can_go(one: Candidate, windows: Sequence[Window], today: dt.date) -> str:
    if not one.can_go:
        return gettext("cannot go")
    return nights_away(one.away, windows, today) or gettext("can go")


def _distance(one: Candidate, unit: object) -> str:
    if one.meters is None:
        return gettext("no route yet")
    if one.knows_the_route:
        return gettext("knows this route")
    return said("{distance} from their route", distance=distance(one.meters, unit))


def _offer(one: Candidate) -> str:
    if one.offer is None:
        return ""
    return (
        said("offers help: {note}", note=one.offer.note)
        if one.offer.note
        else gettext("offers help")
    )
