"""Whom a letter to a group reaches, with the lines that each of them reads."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from accounts.models import Membership, Role
from accounts.training import Validity, validity_on
from surveys.language import gettext, said
from surveys.models import LetterGroup, LetterKind, Program, ReminderStop
from surveys.programs.assignments import current_season_year
from surveys.programs.cover import SeasonPlan, covers
from surveys.reminders.due import window_line
from surveys.seasons.coverage import coverage
from surveys.seasons.overdue import Urgency, overdue_visits

# Groups whose letters say which routes they are about, and which a region narrows.
BY_ROUTE = (LetterGroup.OVERDUE, LetterGroup.MISSED, LetterGroup.ASSIGNED)

Lines = dict[int, list[str]]


@dataclass(frozen=True, kw_only=True)
class Reader:
    """`lines` name the routes that the letter is about; there are none in other groups."""

    member: Membership
    lines: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class Readers:
    """By name. `left_out` belong to the group and get nothing, each with the reason in words."""

    reached: tuple[Reader, ...]
    left_out: tuple[tuple[Membership, str], ...]


def readers_of(program: Program, group: LetterGroup, region: str, today: dt.date) -> Readers:
    """In a fixed number of queries. To be called with dates written as in the program."""
    members, lines = _group(program, group, region, today)
    stopped = set(
        ReminderStop.objects.filter(program=program, kind=LetterKind.LETTERS).values_list(
            "person_id", flat=True
        )
    )
    reached, left_out = [], []
    for member in sorted(members.values(), key=lambda one: (one.person.name, one.pk)):
        reason = _why_left_out(member, stopped)
        if not reason and group in BY_ROUTE and member.pk not in lines:
            reason = gettext("cannot go")
        if reason:
            left_out.append((member, reason))
        else:
            reached.append(Reader(member=member, lines=tuple(lines.get(member.pk, ()))))
    return Readers(reached=tuple(reached), left_out=tuple(left_out))


def _why_left_out(member: Membership, stopped: set[int]) -> str:
    if not member.person.has_account:
        return gettext("no account")
    if not covers(member):
        return gettext("left")
    return gettext("does not want these emails") if member.person_id in stopped else ""


def _group(
    program: Program, group: LetterGroup, region: str, today: dt.date
) -> tuple[Mapping[int, Membership], Lines]:
    year = current_season_year(program, today)
    if group in (LetterGroup.OVERDUE, LetterGroup.MISSED):
        table = coverage(program, year, region=region or None, today=today)
        wants_missed = group is LetterGroup.MISSED
        overdue = [
            visit
            for visit in overdue_visits(table, today)
            if (visit.urgency is Urgency.MISSED) is wants_missed
        ]
        _, lines = _with_lines(
            (
                [goer.member for goer in visit.cover.going],
                window_line(visit.route, visit.window),
            )
            for visit in overdue
        )
        return {one.pk: one for visit in overdue for one in visit.cover.members}, lines
    plan = SeasonPlan(program, year, today)
    if group is LetterGroup.ASSIGNED:
        routes = program.routes.filter(active=True).order_by("code")
        return _with_lines(
            (plan.members_on(route.pk), said("Route {route}", route=route))
            for route in (routes.filter(region=region) if region else routes)
        )
    observers = program.memberships.select_related("person").filter(
        active=True, role=Role.OBSERVER, person__email__isnull=False
    )
    chosen = {one.pk: one for one in observers}
    if group is LetterGroup.FREE:
        busy = {member.pk for route in plan.assigned for member in plan.members_on(route)}
        chosen = {pk: one for pk, one in chosen.items() if pk not in busy}
    if group is LetterGroup.UNTESTED:
        chosen = {
            pk: one for pk, one in chosen.items() if validity_on(one, today) is not Validity.VALID
        }
    return chosen, {}


def _with_lines(
    routes: Iterable[tuple[Iterable[Membership], str]],
) -> tuple[dict[int, Membership], Lines]:
    members: dict[int, Membership] = {}
    lines: Lines = defaultdict(list)
    for of_route, line in routes:
        for member in of_route:
            members[member.pk] = member
            lines[member.pk].append(line)
    return members, lines
