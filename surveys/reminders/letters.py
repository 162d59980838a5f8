"""Letters of coordinators to a group: looked at, then queued, a copy for each reader."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Collection, Sequence

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Count, QuerySet
from django.urls import reverse
from django.utils import timezone
from procrastinate.contrib.django import app

from accounts.access import Permission, require
from accounts.models import Membership
from surveys import dates
from surveys.language import gettext, gettext_noop, said
from surveys.models import (
    GroupLetter,
    LetterCopy,
    LetterGroup,
    LetterKind,
    Program,
    ReminderStop,
)
from surveys.programs.assignments import today_of
from surveys.programs.cover import covers
from surveys.reminders.groups import BY_ROUTE, readers_of
from surveys.reminders.mailing import mail_to
from surveys.reminders.texts import PLACES, TO_ROUTES, Words, fill, place_problems
from surveys.runs.mail_hours import defer_by_day, end_of_quiet
from surveys.runs.queues import MAIL, MAIL_RETRY

# So that an account that was taken over cannot write to the whole program again and again.
MOST_IN_A_DAY = 2000

_HELLO = gettext_noop("Hello {name},")
_START = {
    LetterGroup.OVERDUE: (
        gettext_noop("{program}: a visit is due"),
        gettext_noop("There is no visit yet on:"),
        gettext_noop(
            "If you cannot go, tell us, so that someone else can. No visit is worth a night that "
            "is not safe."
        ),
    ),
    LetterGroup.MISSED: (
        gettext_noop("{program}: a window without a visit"),
        gettext_noop("The window is over, and there is no visit on:"),
        gettext_noop(
            "If you went, please submit the visit. If you could not go, tell us what got in the "
            "way."
        ),
    ),
    LetterGroup.ASSIGNED: (
        gettext_noop("{program}: your routes this season"),
        gettext_noop("You survey:"),
        gettext_noop("Thank you for going out for the frogs."),
    ),
}


def first_words(group: LetterGroup) -> Words:
    """What the form of a letter begins with."""
    if group not in _START:
        leads = gettext("Open the program:")
        return Words(
            subject=gettext("{program}: "), text=f"{gettext(_HELLO)}\n\n\n\n{leads}\n\n{{link}}"
        )
    leads = gettext(TO_ROUTES)
    subject, before, after = _START[group]
    parts = (gettext(_HELLO), gettext(before), "{list}", gettext(after), leads, "{link}")
    return Words(subject=gettext(subject), text="\n\n".join(parts))


def places_of(group: LetterGroup) -> dict[str, str]:
    """The places of its text, with what stands there. Only routes make a list."""
    return {name: words for name, words in PLACES.items() if name != "list" or group in BY_ROUTE}


def check_letter(group: LetterGroup, region: str, words: Words) -> None:
    """Raise ValidationError by field."""
    problems = place_problems(words.subject, words.text, places_of(group))
    first = first_words(group)
    if group not in _START and words.subject.strip() == first.subject.strip():
        problems.setdefault("subject", gettext("Write what the email is about."))
    if group not in _START and words.text.split() == first.text.split():
        problems.setdefault("text", gettext("Write the email first."))
    if region and group not in BY_ROUTE:
        problems["region"] = gettext("Only a group by routes has a region. Choose all regions.")
    if problems:
        raise ValidationError(problems)


@transaction.atomic
def send_letter(
    member: Membership,
    *,
    key: uuid.UUID,
    group: LetterGroup,
    region: str,
    chosen: Collection[int],
    words: Words,
    site_url: str,
) -> GroupLetter:
    """Queue a letter to those of the group that are chosen, by the ids of their memberships; who
    is no longer in the group gets nothing. Doing it twice with one key sends once.

    Raises ValidationError by field.
    """
    require(member, Permission.MANAGE)
    program = Program.objects.select_for_update().get(pk=member.program_id)
    known = program.letters.filter(key=key).first()
    if known is not None:
        return known
    check_letter(group, region, words)
    with dates.using(program.date_style):
        readers = readers_of(program, group, region, today_of(program)).reached
    wanted = [reader for reader in readers if reader.member.pk in chosen]
    if not wanted:
        raise ValidationError(
            {"chosen": gettext("Choose at least one person of the group who gets the email.")}
        )
    _check_day(program, len(wanted))
    letter = GroupLetter(
        program=program,
        key=key,
        group=group,
        region=region,
        subject=words.subject.strip(),
        text=words.text.strip(),
        by=member.person,
        site_url=site_url,
    )
    letter.full_clean(exclude=["program", "by", "at"])
    letter.save()
    copies = LetterCopy.objects.bulk_create(
        LetterCopy(letter=letter, member=reader.member, words="\n".join(reader.lines))
        for reader in wanted
    )
    for copy in copies:
        defer_by_day(mail_letter, program.time_zone, copy_id=copy.pk)
    return letter


def _check_day(program: Program, number: int) -> None:
    since = timezone.now() - dt.timedelta(days=1)
    before = LetterCopy.objects.filter(letter__program=program, letter__at__gt=since).count()
    if before + number > MOST_IN_A_DAY:
        raise ValidationError(
            said(
                "A program can send {most} emails to groups in 24 hours, and {before} were sent. "
                "Send this one tomorrow.",
                most=MOST_IN_A_DAY,
                before=before,
            )
        )


def letters_of(member: Membership) -> QuerySet[GroupLetter]:
    """Latest first, each with how many copies there are and how many were mailed."""
    require(member, Permission.MANAGE)
    return member.program.letters.select_related("by").annotate(
        number=Count("copies"), mailed=Count("copies__mailed_at")
    )


# --- In the worker ----------------------------------------------------------------


@app.task(name="reminders.mail_letter", queue=MAIL, retry=MAIL_RETRY)
def mail_letter(*, copy_id: int) -> None:
    """Mail a copy by day, unless it went already or its reader has left or stopped such mail
    since."""
    copy = (
        LetterCopy.objects.select_related("letter__by", "member__person", "member__program")
        .filter(pk=copy_id, mailed_at=None)
        .first()
    )
    if copy is None or not covers(copy.member):
        return
    program, person = copy.member.program, copy.member.person
    if end_of_quiet(program.time_zone, timezone.now()) is not None:
        # The worker was away by day, or the mail server.
        defer_by_day(mail_letter, program.time_zone, copy_id=copy_id)
        return
    stopped = ReminderStop.objects.filter(program=program, person=person, kind=LetterKind.LETTERS)
    if stopped.exists():
        return
    letter = copy.letter
    words = filled_letter(
        program,
        Words(subject=letter.subject, text=letter.text),
        name=person.name,
        lines=copy.words.splitlines(),
        site_url=letter.site_url,
    )
    answer_to = program.contact_email or letter.by.email
    mail_to(
        copy.member, LetterKind.LETTERS, words, site_url=letter.site_url, answer_to=answer_to
    ).send()
    LetterCopy.objects.filter(pk=copy.pk).update(mailed_at=timezone.now())


def filled_letter(
    program: Program, words: Words, *, name: str, lines: Sequence[str], site_url: str
) -> Words:
    """As one reader gets it."""
    link = site_url.rstrip("/") + reverse("web:tonight", args=[program.slug])
    return fill(words, program, name=name, lines=lines, link=link)
