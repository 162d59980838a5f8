"""Mail to observers: reminders that a program sends, letters of its coordinators to a group, who
wants none of a kind, and what was sent."""

import uuid

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.db.models.functions import Now
from django.utils.translation import gettext_lazy

from surveys.models.history import tracked
from surveys.models.program import Program


class ReminderKind(models.TextChoices):
    WINDOW_OPENS = "opens", gettext_lazy("A survey window opens")
    HALF_GONE = "half_gone", gettext_lazy("Half of a window is over without a visit")
    CLOSES_SOON = "closes_soon", gettext_lazy("A window closes within 7 days without a visit")
    SENT_BACK = "sent_back", gettext_lazy("A visit was sent back a week ago")
    NOT_SUBMITTED = "not_submitted", gettext_lazy("A night is not submitted after three days")
    TEST_EXPIRES = (
        "test_expires",
        gettext_lazy("A call-identification test expires within 30 days"),
    )


class LetterKind(models.TextChoices):
    """Mail that is no reminder and that its readers may stop all the same."""

    LETTERS = "letters", gettext_lazy("Emails from the coordinators to a group")
    PLAN = "plan", gettext_lazy("Emails about who surveys which route")


class LetterGroup(models.TextChoices):
    """Whom a letter is for."""

    OVERDUE = "overdue", gettext_lazy("Observers with an overdue visit")
    MISSED = "missed", gettext_lazy("Observers of a route whose window passed without a visit")
    ASSIGNED = "assigned", gettext_lazy("Observers with a route this season")
    FREE = "free", gettext_lazy("Observers without a route this season")
    UNTESTED = "untested", gettext_lazy("Observers without a valid call-identification test")
    OBSERVERS = "observers", gettext_lazy("All observers")


@tracked
class ReminderSetting(models.Model):
    """A kind of reminder that a program sends. Without a row it is not sent. `subject` and `text`
    are the coordinator's; blank is the usual text, in the reader's language. `site_url` is the
    address at which it was switched on: the worker knows none."""

    program = models.ForeignKey(Program, on_delete=models.CASCADE, related_name="reminder_settings")
    kind = models.CharField(max_length=13, choices=ReminderKind.choices)
    active = models.BooleanField(default=False)
    subject = models.CharField(max_length=150, blank=True)
    text = models.TextField(blank=True, max_length=5000)
    site_url = models.CharField(max_length=200)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["program", "kind"], name="remindersetting_once"),
            models.CheckConstraint(
                condition=Q(kind__in=ReminderKind.values), name="remindersetting_kind_known"
            ),
        ]


class ReminderStop(models.Model):
    """A person who wants no more mail of one kind from a program."""

    program = models.ForeignKey(Program, on_delete=models.CASCADE, related_name="+")
    person = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="+")
    kind = models.CharField(max_length=13, choices=[*ReminderKind.choices, *LetterKind.choices])
    at = models.DateTimeField(db_default=Now())

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["program", "person", "kind"], name="reminderstop_once")
        ]


class SentReminder(models.Model):
    """What somebody is reminded of: `subject` names the route and window, or the visit. Written
    with the job that mails it, so that nobody is reminded of a thing twice."""

    program = models.ForeignKey(Program, on_delete=models.CASCADE, related_name="+")
    person = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="+")
    kind = models.CharField(max_length=13, choices=ReminderKind.choices)
    subject = models.CharField(max_length=160)
    words = models.TextField()
    queued_at = models.DateTimeField(db_default=Now())
    mailed_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["program", "person", "kind", "subject"], name="sentreminder_once"
            )
        ]


@tracked
class GroupLetter(models.Model):
    """What a coordinator wrote to a group. `key` comes with the form, so that a button that is
    pressed twice sends once."""

    program = models.ForeignKey(Program, on_delete=models.CASCADE, related_name="letters")
    key = models.UUIDField(default=uuid.uuid4)
    group = models.CharField(max_length=10, choices=LetterGroup.choices)
    region = models.CharField(max_length=120, blank=True)
    subject = models.CharField(max_length=150)
    text = models.TextField(max_length=5000)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField(db_default=Now())
    site_url = models.CharField(max_length=200)

    class Meta:
        ordering = ["-at", "-pk"]
        constraints = [
            models.UniqueConstraint(fields=["program", "key"], name="groupletter_once"),
            models.CheckConstraint(
                condition=Q(group__in=LetterGroup.values), name="groupletter_group_known"
            ),
        ]

    def __str__(self) -> str:
        return self.subject


class LetterCopy(models.Model):
    """A letter to one member. Written with the job that mails it; `words` are the lines that stand
    at {list}."""

    letter = models.ForeignKey(GroupLetter, on_delete=models.CASCADE, related_name="copies")
    member = models.ForeignKey("accounts.Membership", on_delete=models.CASCADE, related_name="+")
    words = models.TextField(blank=True)
    mailed_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["letter", "member"], name="lettercopy_once")]


class CalendarLink(models.Model):
    """A member's secret link to a calendar of what is due. Only a hash of the token is stored."""

    member = models.OneToOneField(
        "accounts.Membership", on_delete=models.CASCADE, related_name="calendar_link"
    )
    token_hash = models.CharField(max_length=64, unique=True)
    made_at = models.DateTimeField()
