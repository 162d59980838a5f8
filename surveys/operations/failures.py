"""Work and mail that failed for good in the last days, and nothing has made up for since."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from django.db import connection, transaction
from django.db.models import Exists, OuterRef, Q
from django.utils import timezone
from procrastinate import sql
from procrastinate.contrib.django.models import ProcrastinateEvent, ProcrastinateJob

from accounts.models import Invitation, JoiningLink, Membership, Person
from surveys import dates
from surveys.language import gettext, said
from surveys.models import (
    UNDER_WAY,
    Assignment,
    BackgroundRun,
    CheckIn,
    LetterCopy,
    Program,
    ReviewStep,
    RouteRequest,
    RunState,
    Substitute,
)
from surveys.runs.queues import MAIL

SHOWN_FOR = dt.timedelta(days=7)


@dataclass(frozen=True, kw_only=True)
class FailedJob:
    """A job that has used up its tries. `words` say what it was; `asked_by` is the address of the
    person whose act it followed, where it is known."""

    job: int
    at: dt.datetime
    is_mail: bool
    words: str
    program: int | None = None
    asked_by: str | None = None


# --- Runs ---------------------------------------------------------------------


def failed_runs(program: Program | None = None) -> list[BackgroundRun]:
    """Of one program or of all; without those whose subject was done or begun again later."""
    later = BackgroundRun.objects.filter(
        program=OuterRef("program"),
        subject=OuterRef("subject"),
        pk__gt=OuterRef("pk"),
        state__in=(RunState.DONE, *UNDER_WAY),
    )
    runs = BackgroundRun.objects.select_related("program").filter(
        ~Exists(later),
        state=RunState.FAILED,
        finished_at__gt=timezone.now() - SHOWN_FOR,
    )
    return list(runs.filter(program=program) if program else runs)


# --- Mail and other jobs ------------------------------------------------------


def failed_jobs(program: Program | None = None) -> list[FailedJob]:
    """Latest first. Runs are left out: their rows say more. With a program, only its own mail."""
    again = ProcrastinateJob.objects.filter(
        task_name=OuterRef("task_name"),
        args=OuterRef("args"),
        pk__gt=OuterRef("pk"),
        status__in=("todo", "doing", "succeeded"),
    )
    ended = ProcrastinateEvent.objects.filter(
        job=OuterRef("pk"), type="failed", at__gt=timezone.now() - SHOWN_FOR
    )
    jobs = ProcrastinateJob.objects.filter(
        ~Q(task_name__startswith="runs."), ~Exists(again), Exists(ended), status="failed"
    ).order_by("-pk")
    told = [_told(job) for job in jobs]
    return [job for job in told if program is None or job.program == program.pk]


def _told(job: ProcrastinateJob) -> FailedJob:
    at = job.procrastinateevent_set.filter(type="failed").latest("at").at
    is_mail = job.queue_name == MAIL
    facts: dict[str, Any] = {"words": said("Task {name}", name=job.task_name)}
    if is_mail:
        facts = {"words": gettext("A letter about an account")}
        describe = _LETTERS.get(job.task_name)
        if describe is not None:
            facts = describe(job.args) or facts
    return FailedJob(job=job.pk, at=at, is_mail=is_mail, **facts)


def _invitation(args: dict[str, Any]) -> dict[str, Any] | None:
    invitation = (
        Invitation.objects.select_related("invited_by").filter(pk=args["invitation_id"]).first()
    )
    if invitation is None:
        return None
    by = invitation.invited_by
    return {
        "words": said("Invitation to {email}", email=invitation.email),
        "program": invitation.program_id,
        "asked_by": by.email if by is not None and by.is_active else None,
    }


def _sent_back(args: dict[str, Any]) -> dict[str, Any] | None:
    step = (
        ReviewStep.objects.select_related("visit__route__program", "visit__observer", "by")
        .filter(pk=args["step_id"])
        .first()
    )
    if step is None:
        return None
    program = step.visit.route.program
    with dates.using(program.date_style):
        night = dates.day(step.visit.night)
    return {
        "words": said(
            "Visit of {night}, sent back to {name}", night=night, name=step.visit.observer.name
        ),
        "program": program.pk,
        "asked_by": step.by.email if step.by.is_active else None,
    }


def _message(args: dict[str, Any]) -> dict[str, Any] | None:
    told = _sent_back(args)
    person = Person.objects.filter(pk=args["person_id"]).first()
    if told is None or person is None:
        return None
    return told | {"words": said("Message about a visit, to {name}", name=person.name)}


def _reminder(args: dict[str, Any]) -> dict[str, Any] | None:
    member = Membership.objects.select_related("person").filter(pk=args["member_id"]).first()
    if member is None:
        return None
    return {
        "words": said("Reminder to {name}", name=member.person.name),
        "program": member.program_id,
    }


def _letter(args: dict[str, Any]) -> dict[str, Any] | None:
    copy = (
        LetterCopy.objects.select_related("letter__by", "member__person")
        .filter(pk=args["copy_id"])
        .first()
    )
    if copy is None:
        return None
    letter = copy.letter
    return {
        "words": said(
            "Email “{subject}” to {name}", subject=letter.subject, name=copy.member.person.name
        ),
        "program": letter.program_id,
        "asked_by": letter.by.email if letter.by.is_active else None,
    }


def _plan_request(args: dict[str, Any]) -> dict[str, Any] | None:
    request = (
        RouteRequest.objects.select_related("route", "member__person")
        .filter(pk=args["request_id"])
        .first()
    )
    if request is None:
        return None
    return {
        "words": said(
            "Email about {name} and {route}",
            name=request.member.person.name,
            route=request.route.code,
        ),
        "program": request.program_id,
    }


def _substitute(args: dict[str, Any]) -> dict[str, Any] | None:
    substitute = (
        Substitute.objects.select_related("assignment__route", "person")
        .filter(pk=args["substitute_id"])
        .first()
    )
    if substitute is None:
        return None
    return {
        "words": said(
            "Email about {name}, who stands in on {route}",
            name=substitute.person.name,
            route=substitute.assignment.route.code,
        ),
        "program": substitute.assignment.route.program_id,
    }


def _no_substitute(args: dict[str, Any]) -> dict[str, Any] | None:
    rows = Assignment.objects.select_related("route", "observer")
    assignment = rows.filter(pk=args["assignment_id"]).first()
    if assignment is None:
        return None
    return {
        "words": said(
            "Email about {name} and {route}",
            name=assignment.observer.name,
            route=assignment.route.code,
        ),
        "program": assignment.route.program_id,
    }


def _asked_by_link(args: dict[str, Any]) -> dict[str, Any] | None:
    link = JoiningLink.objects.filter(pk=args["link_id"]).first()
    if link is None:
        return None
    return {
        "words": said("Invitation by the joining link “{name}”", name=link.name),
        "program": link.program_id,
    }


def _accepted(args: dict[str, Any]) -> dict[str, Any] | None:
    told = _sent_back(args)
    return told and told | {"words": gettext("Thanks for an accepted visit")}


def _overdue(args: dict[str, Any]) -> dict[str, Any] | None:
    rows = CheckIn.objects.select_related("person", "route")
    found = rows.filter(pk=args["check_in_id"], back_at=None).first()
    if found is None:
        return None
    return {
        "words": said("Email that {name} is not back yet", name=found.person.name),
        "program": found.route.program_id,
        "asked_by": found.person.email if found.person.is_active else None,
    }


_LETTERS: dict[str, Callable[[dict[str, Any]], dict[str, Any] | None]] = {
    "accounts.invite_by_link": _asked_by_link,
    "accounts.send_invitation": _invitation,
    "check_ins.mail_overdue": _overdue,
    "planning.mail_answer": _plan_request,
    "planning.mail_asked": _plan_request,
    "planning.mail_no_substitute": _no_substitute,
    "planning.mail_substitute": _substitute,
    "reminders.mail": _reminder,
    "reminders.mail_letter": _letter,
    "visits.mail_sent_back": _sent_back,
    "visits.mail_message": _message,
    "visits.mail_accepted": _accepted,
}


@transaction.atomic
def try_again(jobs: list[FailedJob]) -> int:
    """Give failed jobs back to the worker, for one more try. Returns how many."""
    locked = ProcrastinateJob.objects.select_for_update(skip_locked=True).filter(
        pk__in=[job.job for job in jobs], status="failed"
    )
    ids = list(locked.values_list("pk", flat=True))
    with connection.cursor() as cursor:
        for pk in ids:
            cursor.execute(
                sql.queries["retry_job"],
                {
                    "job_id": pk,
                    "retry_at": timezone.now(),
                    "new_priority": None,
                    "new_queue_name": None,
                    "new_lock": None,
                },
            )
    return len(ids)
