"""Sending reminders: what is due is written down with the job that mails it, both or neither."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Sequence
from zoneinfo import ZoneInfo

from django.core.mail import EmailMultiAlternatives
from django.db import transaction
from django.urls import reverse
from django.utils import timezone
from procrastinate.contrib.django import app

from accounts.models import Membership
from surveys import dates
from surveys.models import Program, ReminderKind, ReminderSetting, ReminderStop, SentReminder
from surveys.programs.cover import covers
from surveys.reminders.due import DueReminder, due_reminders
from surveys.reminders.mailing import mail_to
from surveys.reminders.settings import setting_of
from surveys.reminders.texts import Words, filled_words
from surveys.runs.mail_hours import end_of_quiet
from surveys.runs.queues import MAIL, MAIL_RETRY, SHORT

_PAGES = {
    ReminderKind.SENT_BACK: "web:sheets",
    ReminderKind.NOT_SUBMITTED: "web:sheets",
    ReminderKind.TEST_EXPIRES: "web:call_test",
}


@app.periodic(cron="17 * * * *")
@app.task(name="reminders.look", queue=SHORT, queueing_lock="look for reminders")
def look_for_reminders(timestamp: int) -> None:
    """Every hour, in each program that sends reminders and where it is day."""
    now = timezone.now()
    for program in Program.objects.filter(reminder_settings__active=True).distinct():
        if end_of_quiet(program.time_zone, now) is None:
            queue_due(program, now.astimezone(ZoneInfo(program.time_zone)).date())


def queue_due(program: Program, today: dt.date) -> int:
    """Queue a mail for each person and kind with something new. Returns how many."""
    active = ReminderSetting.objects.filter(program=program, active=True)
    kinds = set(active.values_list("kind", flat=True))
    stopped = set(ReminderStop.objects.filter(program=program).values_list("person_id", "kind"))
    found: dict[tuple[int, str], list[DueReminder]] = defaultdict(list)
    with dates.using(program.date_style):
        for due in due_reminders(program, today):
            key = (due.member.person_id, due.kind.value)
            if due.kind in kinds and key not in stopped:
                found[key].append(due)
    return sum(_queue(program, of_person) for of_person in found.values())


@transaction.atomic
def _queue(program: Program, due: Sequence[DueReminder]) -> bool:
    """Whether there was something that this person was not reminded of yet. Two workers that look
    at once take turns at the membership."""
    member, kind = due[0].member, due[0].kind
    Membership.objects.select_for_update().get(pk=member.pk)
    told = SentReminder.objects.filter(program=program, person=member.person, kind=kind)
    known = set(told.values_list("subject", flat=True))
    rows = SentReminder.objects.bulk_create(
        SentReminder(
            program=program, person=member.person, kind=kind, subject=one.subject, words=one.words
        )
        for one in due
        if one.subject not in known
    )
    if rows:
        mail_reminder.defer(member_id=member.pk, kind=kind.value, sent_ids=[row.pk for row in rows])
    return bool(rows)


@app.task(name="reminders.mail", queue=MAIL, retry=MAIL_RETRY)
def mail_reminder(*, member_id: int, kind: str, sent_ids: list[int]) -> None:
    """Mail what is not mailed yet, unless the person has stopped it or left meanwhile."""
    member = Membership.objects.select_related("program", "person").get(pk=member_id)
    rows = SentReminder.objects.filter(pk__in=sent_ids, mailed_at=None).order_by("pk")
    program, reminder = member.program, ReminderKind(kind)
    stopped = ReminderStop.objects.filter(program=program, person=member.person, kind=kind)
    setting = setting_of(program, reminder)
    if not rows or not covers(member) or stopped.exists() or not setting.active:
        return
    with dates.using(program.date_style):
        letter = reminder_letter(member, reminder, setting, [row.words for row in rows])
    letter.send()
    rows.update(mailed_at=timezone.now())


def reminder_letter(
    member: Membership, kind: ReminderKind, setting: ReminderSetting, lines: Sequence[str]
) -> EmailMultiAlternatives:
    program = member.program
    page = reverse(_PAGES.get(kind, "web:tonight"), args=[program.slug])
    words = filled_words(
        kind,
        Words(subject=setting.subject, text=setting.text),
        program,
        name=member.person.name,
        lines=lines,
        link=setting.site_url.rstrip("/") + page,
    )
    return mail_to(
        member, kind, words, site_url=setting.site_url, answer_to=program.contact_email or None
    )
