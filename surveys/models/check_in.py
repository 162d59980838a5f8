"""Return times: when an observer wants to be back, whom the site mails if nobody says so."""

import uuid

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.db.models.functions import Now

from surveys.models.program import Program
from surveys.models.route import Route


class CheckInContact(models.Model):
    """Whom an observer has chosen: a member of the program, or somebody by email who said yes.

    `address_key` is a hash of the address. It outlives name and address where somebody said no or
    was taken off the list, so that nobody is asked again and again.
    """

    program = models.ForeignKey(Program, on_delete=models.CASCADE, related_name="+")
    owner = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="check_in_contacts"
    )
    member = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.CASCADE, null=True, blank=True, related_name="+"
    )
    name = models.CharField(max_length=120, blank=True)
    email = models.EmailField(blank=True)
    address_key = models.CharField(max_length=64)
    # The address of the site as it was written down: the worker knows none.
    site_url = models.CharField(max_length=200)
    asked_at = models.DateTimeField(db_default=Now())
    confirmed_at = models.DateTimeField(null=True, blank=True)
    declined_at = models.DateTimeField(null=True, blank=True)
    removed_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["name", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["program", "owner", "address_key"], name="checkincontact_once"
            ),
            models.CheckConstraint(
                condition=Q(declined_at=None, removed_at=None) | Q(email="", name="", member=None),
                name="checkincontact_forgotten",
            ),
        ]


class CheckIn(models.Model):
    """One evening's return time. The phone makes the id, so that a retry makes no second one.

    `overdue_at` is when the site found that nobody had said "we are back", `told_at` when the
    contact was mailed, `heard_at` when the phone last reached the site about it.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4)
    person = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="check_ins"
    )
    route = models.ForeignKey(Route, on_delete=models.CASCADE, related_name="+")
    contact = models.ForeignKey(
        CheckInContact, on_delete=models.SET_NULL, null=True, blank=True, related_name="check_ins"
    )
    back_by = models.DateTimeField()
    car = models.CharField(max_length=120, blank=True)
    begun_at = models.DateTimeField()
    heard_at = models.DateTimeField()
    back_at = models.DateTimeField(null=True, blank=True)
    overdue_at = models.DateTimeField(null=True, blank=True)
    told_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-begun_at", "pk"]
        indexes = [
            models.Index(
                fields=["back_by"],
                name="checkin_open",
                condition=Q(back_at=None, overdue_at=None),
            )
        ]
