"""Mail about the plan, sent by the worker, by day. A task is deferred in the transaction of the
change, so the mail is sent if and only if the change is committed."""

from __future__ import annotations

from django.urls import reverse
from procrastinate.contrib.django import app

from accounts.access import Permission, may
from accounts.models import Person
from surveys import dates
from surveys.language import gettext, said
from surveys.models import Program, RequestState, RouteRequest, Substitute
from surveys.programs.assignments import due_windows
from surveys.runs.plain_mail import mail_to, quoted
from surveys.runs.queues import MAIL, MAIL_RETRY


@app.task(name="planning.mail_asked", queue=MAIL, retry=MAIL_RETRY)
def mail_asked(*, request_id: int, person_id: int, site_url: str) -> None:
    """Tell a coordinator that an observer asks for a route, unless it is settled since, or they
    are a coordinator no more: the mail may have waited a night."""
    request, person = _request(request_id), Person.objects.get(pk=person_id)
    members = person.memberships.filter(program=request.program_id, active=True)
    coordinates = any(may(one, Permission.MANAGE) for one in members)
    if request.state != RequestState.ASKED or not (person.has_account and coordinates):
        return
    name = request.member.person.name
    mail_to(
        person.name,
        person.email,
        said("{program}: {name} asks for a route", program=request.program.name, name=name),
        said("{name} asks for {what}.", name=name, what=_what(request)),
        *([quoted(request.note)] if request.note else []),
        gettext("Answer here:"),
        _address(request.program, site_url, "web:program_assignments") + "#requests",
    )


@app.task(name="planning.mail_answer", queue=MAIL, retry=MAIL_RETRY)
def mail_answer(*, request_id: int, site_url: str) -> None:
    """Tell the observer what became of the request, with the coordinator's word."""
    request = _request(request_id)
    if not request.member.person.has_account or request.answered_by is None:
        return
    is_accepted = request.state == RequestState.ACCEPTED
    by = request.answered_by.name
    if is_accepted:
        answer = said("{by} gave you {what}. Thank you.", by=by, what=_what(request))
    else:
        answer = said("{by} cannot give you {what}.", by=by, what=_what(request))
    mail_to(
        request.member.person.name,
        request.member.person.email,
        said("{program}: your request for a route", program=request.program.name),
        answer,
        *([quoted(request.answer)] if request.answer else []),
        gettext("Your season:"),
        _address(request.program, site_url, "web:my_season"),
    )


@app.task(name="planning.mail_substitute", queue=MAIL, retry=MAIL_RETRY)
def mail_substitute(*, substitute_id: int, person_id: int, site_url: str) -> None:
    """Tell one of the two sides who goes, unless that has changed since."""
    substitute = (
        Substitute.objects.select_related(
            "assignment__route__program", "assignment__observer", "person"
        )
        .filter(pk=substitute_id)
        .first()
    )
    if substitute is None:
        return
    reader = Person.objects.get(pk=person_id)
    assignment = substitute.assignment
    if not reader.has_account or reader not in (substitute.person, assignment.observer):
        return
    program = assignment.route.program
    when = _when(substitute)
    if reader == substitute.person:
        words = said(
            "Please survey {route} in place of {observer}, {when}. If you cannot, tell your "
            "coordinator.",
            route=assignment.route,
            observer=assignment.observer.name,
            when=when,
        )
    else:
        words = said(
            "{substitute} surveys {route} in your place, {when}.",
            substitute=substitute.person.name,
            route=assignment.route,
            when=when,
        )
    mail_to(
        reader.name,
        reader.email,
        said("{program}: who surveys {route}", program=program.name, route=assignment.route.code),
        words,
        gettext("Your season:"),
        _address(program, site_url, "web:my_season"),
    )


def _request(request_id: int) -> RouteRequest:
    requests = RouteRequest.objects.select_related(
        "route", "program", "member__person", "answered_by"
    )
    return requests.get(pk=request_id)


def _what(request: RouteRequest) -> str:
    """What is asked for, in words."""
    if request.window:
        return said(
            "{route} in the window “{window}” of {year}",
            route=request.route,
            window=request.window,
            year=request.season_year,
        )
    return said("{route} for the season {year}", route=request.route, year=request.season_year)


def _when(substitute: Substitute) -> str:
    assignment = substitute.assignment
    for due in due_windows(assignment.route, assignment.season_year):
        if due.name == substitute.window:
            with dates.using(assignment.route.program.date_style):
                return said(
                    "{window}: {first} to {last}",
                    window=due.name,
                    first=dates.day(due.opens),
                    last=dates.day(due.closes),
                )
    return substitute.window


def _address(program: Program, site_url: str, page: str) -> str:
    return quoted(site_url.rstrip("/") + reverse(page, args=[program.slug]))
