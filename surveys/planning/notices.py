"""Mail about the plan, sent by the worker, by day. A task is deferred in the transaction of the
change, so the mail is sent if and only if the change is committed. Its readers may stop it."""

from __future__ import annotations

from django.urls import reverse
from procrastinate.contrib.django import app

from accounts.access import Permission, may
from accounts.models import Membership
from surveys import dates
from surveys.language import gettext, said
from surveys.models import (
    Assignment,
    LetterKind,
    Program,
    RequestState,
    RouteRequest,
    Substitute,
)
from surveys.programs.assignments import due_windows
from surveys.reminders.mailing import mail_to
from surveys.reminders.stopping import StopLink, is_stopped
from surveys.reminders.texts import Words
from surveys.runs.plain_mail import quoted
from surveys.runs.queues import MAIL, MAIL_RETRY

_SEASON, _PLAN = "web:my_season", "web:program_assignments"


@app.task(name="planning.mail_asked", queue=MAIL, retry=MAIL_RETRY)
def mail_asked(*, request_id: int, person_id: int, site_url: str) -> None:
    """Tell a coordinator that an observer asks for a route, unless it is settled since, or they
    are a coordinator no more: the mail may have waited a night."""
    request = _request(request_id)
    reader = _reader(request.program, person_id)
    if request.state != RequestState.ASKED or reader is None or not _coordinates(reader):
        return
    name = request.member.person.name
    _mail(
        reader,
        said("{program}: {name} asks for a route", program=request.program.name, name=name),
        said("{name} asks for {what}.", name=name, what=_what(request)),
        *([quoted(request.note)] if request.note else []),
        gettext("Answer here:"),
        page=_PLAN,
        part="#requests",
        site_url=site_url,
    )


@app.task(name="planning.mail_answer", queue=MAIL, retry=MAIL_RETRY)
def mail_answer(*, request_id: int, site_url: str) -> None:
    """Tell the observer what became of the request, with the coordinator's word."""
    request = _request(request_id)
    reader = _reader(request.program, request.member.person_id)
    if reader is None or request.answered_by is None:
        return
    is_accepted = request.state == RequestState.ACCEPTED
    by = request.answered_by.name
    if is_accepted:
        answer = said("{by} gave you {what}. Thank you.", by=by, what=_what(request))
    else:
        answer = said("{by} cannot give you {what}.", by=by, what=_what(request))
    _mail(
        reader,
        said("{program}: your request for a route", program=request.program.name),
        answer,
        *([quoted(request.answer)] if request.answer else []),
        gettext("Your season:"),
        page=_SEASON,
        site_url=site_url,
    )


@app.task(name="planning.mail_substitute", queue=MAIL, retry=MAIL_RETRY)
def mail_substitute(*, substitute_id: int, person_id: int, site_url: str) -> None:
    """Tell one of the two sides, or a coordinator, who goes, unless that has changed since."""
    substitute = (
        Substitute.objects.select_related(
            "assignment__route__program", "assignment__observer", "person"
        )
        .filter(pk=substitute_id)
        .first()
    )
    if substitute is None:
        return
    assignment = substitute.assignment
    reader = _reader(assignment.route.program, person_id)
    if reader is None:
        return
    names = {
        "route": assignment.route,
        "observer": assignment.observer.name,
        "substitute": substitute.person.name,
        "when": _when(assignment, substitute.window),
    }
    if reader.person == substitute.person:
        words = said(
            "Please survey {route} in place of {observer}, {when}. If you cannot, say so under "
            "My season.",
            **names,
        )
    elif reader.person == assignment.observer:
        words = said("{substitute} surveys {route} in your place, {when}.", **names)
    elif _coordinates(reader):
        words = said("{substitute} surveys {route} in place of {observer}, {when}.", **names)
    else:
        return
    _mail_about(reader, assignment, words, site_url=site_url)


@app.task(name="planning.mail_no_substitute", queue=MAIL, retry=MAIL_RETRY)
def mail_no_substitute(
    *, assignment_id: int, window: str, former_id: int, person_id: int, site_url: str
) -> None:
    """Tell one of the two sides, or a coordinator, that a substitute does not go after all, unless
    that has changed since."""
    assignments = Assignment.objects.select_related("route__program", "observer")
    assignment = assignments.filter(pk=assignment_id).first()
    if assignment is None:
        return
    reader = _reader(assignment.route.program, person_id)
    former = _reader(assignment.route.program, former_id)
    now = assignment.substitutes.filter(window=window).first()
    if reader is None or former is None:
        return
    names = {
        "route": assignment.route,
        "observer": assignment.observer.name,
        "former": former.person.name,
        "when": _when(assignment, window),
    }
    if reader == former:
        if now is not None and now.person_id == former_id:
            return
        words = said(
            "You no longer need to survey {route} in place of {observer}, {when}.", **names
        )
    elif now is not None:
        return
    elif reader.person == assignment.observer:
        words = said(
            "{former} will not survey {route} in your place, {when}. If you cannot go, say "
            "so under My season.",
            **names,
        )
    elif _coordinates(reader):
        words = said(
            "{former} will not survey {route} in place of {observer} after all, {when}.", **names
        )
    else:
        return
    _mail_about(reader, assignment, words, site_url=site_url)


def _mail_about(reader: Membership, assignment: Assignment, words: str, *, site_url: str) -> None:
    route, program = assignment.route, assignment.route.program
    has_part = reader.person == assignment.observer or not _coordinates(reader)
    _mail(
        reader,
        said("{program}: who surveys {route}", program=program.name, route=route.code),
        words,
        gettext("Your season:") if has_part else gettext("The plan:"),
        page=_SEASON if has_part else _PLAN,
        site_url=site_url,
    )


def _mail(
    reader: Membership, subject: str, *paragraphs: str, page: str, part: str = "", site_url: str
) -> None:
    """Paragraphs after a greeting, then the address of a page. Not to a reader who stopped it."""
    program = reader.program
    if is_stopped(StopLink(member=reader, kind=LetterKind.PLAN)):
        return
    greeting = said("Hello {name},", name=reader.person.name)
    address = site_url.rstrip("/") + reverse(page, args=[program.slug]) + part
    words = Words(
        subject=" ".join(subject.split()), text="\n\n".join([greeting, *paragraphs, address])
    )
    mail_to(
        reader,
        LetterKind.PLAN,
        words,
        site_url=site_url,
        answer_to=program.contact_email or None,
    ).send()


def _reader(program: Program, person_id: int) -> Membership | None:
    """A member, with an account, who is still there."""
    members = program.memberships.select_related("person", "program").filter(active=True)
    member = members.filter(person=person_id).first()
    return member if member is not None and member.person.has_account else None


def _coordinates(member: Membership) -> bool:
    return may(member, Permission.MANAGE)


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
    return said("{route} for the {year} season", route=request.route, year=request.season_year)


def _when(assignment: Assignment, window: str) -> str:
    for due in due_windows(assignment.route, assignment.season_year):
        if due.name == window:
            with dates.using(assignment.route.program.date_style):
                return said(
                    "{window}: {first} to {last}",
                    window=due.name,
                    first=dates.day(due.opens),
                    last=dates.day(due.closes),
                )
    return window
