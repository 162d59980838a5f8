"""Cover: who will go to a route in a window. The one answer that the plan, the desk, reminders,
letters, calendars and Tonight share.

Somebody is cover who is an active member with an account, may survey, is assigned in the window or
stands in for whoever is, and can go on at least one night that is left of it.
"""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Protocol

from accounts.access import PERMISSIONS, Permission
from accounts.models import Membership
from surveys.models import Absence, Assignment, Program, Substitute

SURVEYING_ROLES = [role for role, allowed in PERMISSIONS.items() if Permission.SURVEY in allowed]


class Window(Protocol):
    """A window of one season year, with its first and last night."""

    @property
    def name(self) -> str: ...
    @property
    def opens(self) -> dt.date: ...
    @property
    def closes(self) -> dt.date: ...


@dataclass(frozen=True, kw_only=True)
class Away:
    """Nights on which somebody cannot go, both included."""

    first: dt.date
    last: dt.date


@dataclass(frozen=True, kw_only=True)
class Assigned:
    """A member's part in a route: all windows, or those named; by window who stands in, and under
    which id."""

    id: int
    member: Membership
    windows: tuple[str, ...] = ()
    substitutes: Mapping[str, Membership] = field(default_factory=dict)
    substitute_ids: Mapping[str, int] = field(default_factory=dict)

    def has(self, window: str) -> bool:
        return not self.windows or window in self.windows


@dataclass(frozen=True, kw_only=True)
class Goer:
    """Who will go; `instead_of` the member whom the route is assigned to."""

    member: Membership
    instead_of: Membership | None = None


@dataclass(frozen=True, kw_only=True)
class Cover:
    """`away` are assigned and cannot go on any night that is left; `left` are no longer members
    who survey."""

    going: tuple[Goer, ...] = ()
    away: tuple[Membership, ...] = ()
    left: tuple[Membership, ...] = ()

    @property
    def is_covered(self) -> bool:
        return bool(self.going)

    @property
    def members(self) -> tuple[Membership, ...]:
        """Whoever has to do with the visit: those who will go, then those who will not."""
        return (*(goer.member for goer in self.going), *self.away, *self.left)


def covers(member: Membership) -> bool:
    """Whether a member can be cover at all."""
    return member.active and member.role in SURVEYING_ROLES and member.person.has_account


def can_go(away: Iterable[Away], opens: dt.date, closes: dt.date, today: dt.date) -> bool:
    """Whether a night of a window is left on which somebody can go. A window that is over is
    judged by all of its nights."""
    night = opens if closes < today else max(opens, today)
    for absence in sorted(away, key=lambda one: one.first):
        if absence.first <= night <= absence.last:
            night = absence.last + dt.timedelta(days=1)
    return night <= closes


def cover_of(
    window: Window,
    assigned: Iterable[Assigned],
    away: Mapping[int, Sequence[Away]],
    today: dt.date,
) -> Cover:
    """`away` by the id of the membership. A substitute who has left or cannot go is no cover; then
    it is again the turn of the one who is assigned."""
    going: list[Goer] = []
    absent: list[Membership] = []
    left: list[Membership] = []

    def goes(member: Membership) -> bool:
        if not covers(member):
            left.append(member)
            return False
        if can_go(away.get(member.pk, ()), window.opens, window.closes, today):
            return True
        absent.append(member)
        return False

    for one in assigned:
        if not one.has(window.name):
            continue
        substitute = one.substitutes.get(window.name)
        if substitute is not None and goes(substitute):
            going.append(Goer(member=substitute, instead_of=one.member))
        elif goes(one.member):
            going.append(Goer(member=one.member))
    return Cover(
        going=_once(going),
        away=tuple(dict.fromkeys(absent)),
        left=tuple(dict.fromkeys(left)),
    )


def _once(going: Iterable[Goer]) -> tuple[Goer, ...]:
    """Somebody assigned who stands in as well goes once, by name."""
    by_member: dict[int, Goer] = {}
    for goer in going:
        if goer.member.pk not in by_member or goer.instead_of is None:
            by_member[goer.member.pk] = goer
    return tuple(
        sorted(by_member.values(), key=lambda goer: (goer.member.person.name, goer.member.pk))
    )


class SeasonPlan:
    """Who is assigned to the routes of a program in a season year, read in four queries."""

    def __init__(self, program: Program, season_year: int, today: dt.date) -> None:
        self.season_year = season_year
        self.today = today
        rows = Assignment.objects.filter(route__program=program, season_year=season_year)
        stand_ins = Substitute.objects.filter(
            assignment__route__program=program, assignment__season_year=season_year
        ).values_list("pk", "assignment_id", "window", "person_id")
        given = list(rows.order_by("pk").values_list("pk", "route_id", "observer_id", "windows"))
        people = {observer for _, _, observer, _ in given} | {who for *_, who in stand_ins}
        members = {
            member.person_id: member
            for member in program.memberships.select_related("person").filter(person__in=people)
        }
        substitutes: dict[int, dict[str, Membership]] = defaultdict(dict)
        ids: dict[int, dict[str, int]] = defaultdict(dict)
        for key, assignment, window, who in stand_ins:
            if who in members:
                substitutes[assignment][window] = members[who]
                ids[assignment][window] = key
        self.assigned: dict[int, list[Assigned]] = defaultdict(list)
        for key, route, observer, windows in given:
            if observer in members:
                self.assigned[route].append(
                    Assigned(
                        id=key,
                        member=members[observer],
                        windows=tuple(windows),
                        substitutes=substitutes.get(key, {}),
                        substitute_ids=ids.get(key, {}),
                    )
                )
        for of_route in self.assigned.values():
            of_route.sort(key=lambda one: (one.member.person.name, one.member.pk))
        self.away = absences_of(program)

    def cover(self, route_id: int, window: Window) -> Cover:
        return cover_of(window, self.of_route(route_id), self.away, self.today)

    def of_route(self, route_id: int) -> Sequence[Assigned]:
        return self.assigned.get(route_id, ())

    def members_on(self, route_id: int) -> list[Membership]:
        """Everybody with a part in the route in some window, those who have left among them."""
        members = {
            member
            for one in self.of_route(route_id)
            for member in (one.member, *one.substitutes.values())
        }
        return sorted(members, key=lambda member: (member.person.name, member.pk))

    def is_assigned(self, route_id: int) -> bool:
        """Whether somebody who can be cover has a part in the route."""
        return any(covers(member) for member in self.members_on(route_id))


def absences_of(program: Program) -> dict[int, list[Away]]:
    """By the id of the membership."""
    away: dict[int, list[Away]] = defaultdict(list)
    rows = Absence.objects.filter(member__program=program).order_by("first")
    for member, first, last in rows.values_list("member_id", "first", "last"):
        away[member].append(Away(first=first, last=last))
    return dict(away)
