"""Observers take a free route or ask for it; coordinators answer. Every verb locks the route, so
that of two who want it at once the second is told."""

from __future__ import annotations

import datetime as dt

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import QuerySet
from django.shortcuts import get_object_or_404
from django.utils import timezone

from accounts.access import Permission, may, require
from accounts.models import Membership
from surveys.language import gettext, said
from surveys.models import Assignment, Program, RequestState, Route, RouteRequest
from surveys.planning.free_routes import FreeRoute, free_routes, season_to_plan
from surveys.planning.notices import mail_answer, mail_asked
from surveys.programs.assignments import give, lock_route, today_of
from surveys.programs.cover import covers
from surveys.runs.mail_hours import defer_by_day

# Each is mailed to all coordinators: requests of one observer, those withdrawn among them.
MOST_ASKED, ASKED_WITHIN = 10, dt.timedelta(days=1)


def let_take_routes(member: Membership, allowed: bool) -> Program:
    """Whether observers take free routes at once, or ask for them."""
    require(member, Permission.MANAGE)
    with transaction.atomic():
        program = Program.objects.select_for_update().get(pk=member.program_id)
        program.routes_are_taken = allowed
        program.save(update_fields=["routes_are_taken"])
    return program


@transaction.atomic
def take_route(member: Membership, *, route_id: int, window: str = "") -> Assignment:
    """Take a free route, for a window or for what is left of the season. Raises Http404,
    ValidationError by field."""
    require(member, Permission.SURVEY)
    if not member.program.routes_are_taken:
        raise ValidationError(gettext("In this program you ask for a route. Ask for it below."))
    route = lock_route(member, route_id)
    year = season_to_plan(member.program, today_of(member.program))
    _check_free(member, route, year, window)
    return give(route, member, year, [window] if window else [])


@transaction.atomic
def ask_for_route(
    member: Membership, *, route_id: int, window: str = "", note: str = "", site_url: str = ""
) -> RouteRequest:
    """Ask the coordinators for a free route; asking twice changes nothing. Raises Http404,
    ValidationError by field."""
    require(member, Permission.SURVEY)
    route = lock_route(member, route_id)
    year = season_to_plan(member.program, today_of(member.program))
    _check_free(member, route, year, window)
    known = RouteRequest.objects.filter(
        route=route, member=member, season_year=year, window=window, state=RequestState.ASKED
    ).first()
    if known is not None:
        return known
    _check_number(member)
    request = RouteRequest(
        program=member.program,
        route=route,
        member=member,
        season_year=year,
        window=window,
        note=note.strip(),
        asked_at=timezone.now(),
    )
    request.full_clean(exclude=["program", "route", "member"])
    request.save()
    for one in member.program.memberships.filter(active=True).select_related("person"):
        if may(one, Permission.MANAGE):
            defer_by_day(
                mail_asked,
                member.program.time_zone,
                request_id=request.pk,
                person_id=one.person_id,
                site_url=site_url,
            )
    return request


@transaction.atomic
def withdraw_request(member: Membership, request_id: int) -> RouteRequest:
    """One's own only. Raises Http404, ValidationError."""
    require(member, Permission.SURVEY)
    request = _lock_open(member, request_id, member.route_requests.all())
    request.state = RequestState.WITHDRAWN
    request.save(update_fields=["state"])
    return request


@transaction.atomic
def accept_request(
    member: Membership, request_id: int, *, answer: str = "", site_url: str = ""
) -> RouteRequest:
    """Assign what was asked for. Raises Http404, ValidationError."""
    require(member, Permission.MANAGE)
    request = _lock_open(member, request_id, member.program.route_requests.all())
    if not covers(request.member):
        raise ValidationError(
            said(
                "{name} no longer surveys in this program. Decline the request.",
                name=request.member.person.name,
            )
        )
    route = lock_route(member, request.route_id)
    _check_free(request.member, route, request.season_year, request.window)
    windows = [request.window] if request.window else []
    give(route, request.member, request.season_year, windows)
    return _answer(member, request, RequestState.ACCEPTED, answer, site_url)


@transaction.atomic
def decline_request(
    member: Membership, request_id: int, *, answer: str, site_url: str = ""
) -> RouteRequest:
    """With a word to the observer. Raises Http404, ValidationError."""
    require(member, Permission.MANAGE)
    request = _lock_open(member, request_id, member.program.route_requests.all())
    if not answer.strip():
        raise ValidationError(
            {"answer": gettext("Write a few words to the observer: they offered their evenings.")}
        )
    return _answer(member, request, RequestState.DECLINED, answer, site_url)


def open_requests(program: Program) -> QuerySet[RouteRequest]:
    """The oldest first."""
    return program.route_requests.filter(state=RequestState.ASKED).select_related(
        "route", "member__person"
    )


def _answer(
    member: Membership, request: RouteRequest, state: RequestState, answer: str, site_url: str
) -> RouteRequest:
    request.state = state
    request.answer = answer.strip()
    request.answered_at = timezone.now()
    request.answered_by = member.person
    request.full_clean(exclude=["program", "route", "member", "answered_by"])
    request.save()
    defer_by_day(mail_answer, member.program.time_zone, request_id=request.pk, site_url=site_url)
    return request


def _lock_open(
    member: Membership, request_id: int, requests: QuerySet[RouteRequest]
) -> RouteRequest:
    request = get_object_or_404(
        requests.filter(program=member.program)
        .select_for_update(of=("self",))
        .select_related("route", "member__person", "answered_by"),
        pk=request_id,
    )
    if request.state != RequestState.ASKED:
        raise ValidationError(
            said(
                "This request is answered already: {state}.",
                state=request.get_state_display().lower(),
            )
        )
    return request


def _check_number(member: Membership) -> None:
    """The row is locked, so that two requests at once take turns."""
    Membership.objects.select_for_update().get(pk=member.pk)
    if member.route_requests.filter(asked_at__gt=timezone.now() - ASKED_WITHIN).count() >= (
        MOST_ASKED
    ):
        raise ValidationError(
            said(
                "You have asked for {number} routes today. Ask again tomorrow, or write to your "
                "coordinator.",
                number=MOST_ASKED,
            )
        )


def _check_free(member: Membership, route: Route, year: int, window: str) -> None:
    """Raise ValidationError unless nobody will go to the route in the window, or in any that is
    left of the season."""
    found = free_routes(member.program, year, today_of(member.program))
    free = next((one for one in found if one.route.pk == route.pk), None)
    if free is None or not _includes(free, window):
        raise ValidationError(
            {
                "window": said(
                    "{route} is no longer free then: someone else goes, or the visit is done. "
                    "Choose another route or window.",
                    route=route,
                )
            }
        )


def _includes(free: FreeRoute, window: str) -> bool:
    if not window:
        return free.is_whole
    return any(one.name == window for one in free.windows)
