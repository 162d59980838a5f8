"""Which reminders a program sends, and in which words."""

from __future__ import annotations

from django.core.exceptions import ValidationError
from django.db import transaction

from accounts.access import Permission, require
from accounts.edit_conflicts import Facts, Seen, check_seen, yes_or_no
from accounts.models import Membership
from surveys.language import gettext, said
from surveys.models import Program, ReminderKind, ReminderSetting
from surveys.reminders.texts import check_words


def setting_of(program: Program, kind: ReminderKind) -> ReminderSetting:
    """As stored, or as it is without a row: not sent."""
    stored = ReminderSetting.objects.filter(program=program, kind=kind).first()
    return stored or ReminderSetting(program=program, kind=kind)


def settings_of(program: Program) -> list[ReminderSetting]:
    """One of each kind."""
    stored = {row.kind: row for row in ReminderSetting.objects.filter(program=program)}
    return [
        stored.get(kind) or ReminderSetting(program=program, kind=kind) for kind in ReminderKind
    ]


def setting_facts(setting: ReminderSetting) -> Facts:
    """What its form shows."""
    return {
        gettext("Send this reminder"): yes_or_no(setting.active),
        gettext("Subject"): setting.subject,
        gettext("Text"): setting.text,
    }


@transaction.atomic
def change_setting(
    member: Membership,
    kind: str,
    *,
    active: bool,
    subject: str,
    text: str,
    site_url: str,
    seen: Seen | None = None,
) -> ReminderSetting:
    """Switch a kind on or off and choose its words. Raises ValidationError by field,
    EditConflict."""
    require(member, Permission.MANAGE)
    if kind not in ReminderKind.values:
        raise ValidationError(said("“{kind}” is not a kind of reminder.", kind=kind))
    Program.objects.select_for_update().get(pk=member.program_id)
    setting = setting_of(member.program, ReminderKind(kind))
    events = [setting.events.all()] if setting.pk else []
    check_seen(member, seen, setting_facts(setting), events)
    check_words(subject, text)
    setting.active = active
    setting.subject = subject.strip()
    setting.text = text.strip()
    setting.site_url = site_url
    setting.full_clean(exclude=["program"])
    setting.save()
    return setting
