"""Planning a season: who goes in whose place, who cannot go when, who offers to help, and who
asks for a free route."""

from django.conf import settings
from django.contrib.postgres.constraints import ExclusionConstraint
from django.contrib.postgres.fields import DateRangeField, RangeOperators
from django.db import models
from django.db.models import F, Func, Q
from django.db.models.functions import Now
from django.utils.translation import gettext_lazy

from surveys.models.history import tracked
from surveys.models.program import Program
from surveys.models.route import Assignment, Route


@tracked
class Substitute(models.Model):
    """Who goes in one window in place of the observer whom the route is assigned to."""

    assignment = models.ForeignKey(Assignment, on_delete=models.CASCADE, related_name="substitutes")
    window = models.CharField(max_length=60)
    person = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="substituting"
    )

    class Meta:
        ordering = ["assignment", "window"]
        constraints = [
            models.UniqueConstraint(fields=["assignment", "window"], name="substitute_once")
        ]


class Absence(models.Model):
    """Nights on which a member cannot go, both included. Without history: when somebody was
    away is nobody's matter once they have taken it back."""

    member = models.ForeignKey(
        "accounts.Membership", on_delete=models.CASCADE, related_name="absences"
    )
    first = models.DateField()
    last = models.DateField()
    note = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["first", "pk"]
        constraints = [
            models.CheckConstraint(condition=Q(last__gte=F("first")), name="absence_order"),
            ExclusionConstraint(
                name="absence_no_overlap",
                expressions=[
                    ("member", RangeOperators.EQUAL),
                    (
                        Func(
                            F("first"),
                            F("last"),
                            models.Value("[]"),
                            function="daterange",
                            output_field=DateRangeField(),
                        ),
                        RangeOperators.OVERLAPS,
                    ),
                ],
            ),
        ]


class HelpOffer(models.Model):
    """A member would go where somebody is missing in a season year; `region` blank: anywhere."""

    member = models.ForeignKey(
        "accounts.Membership", on_delete=models.CASCADE, related_name="help_offers"
    )
    season_year = models.PositiveSmallIntegerField()
    region = models.CharField(max_length=120, blank=True)
    note = models.CharField(max_length=200, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["member", "season_year"], name="helpoffer_once")
        ]


class RequestState(models.TextChoices):
    ASKED = "asked", gettext_lazy("Asked")
    ACCEPTED = "accepted", gettext_lazy("Accepted")
    DECLINED = "declined", gettext_lazy("Declined")
    WITHDRAWN = "withdrawn", gettext_lazy("Withdrawn")


class RouteRequest(models.Model):
    """An observer asks for a free route; `window` blank: for the whole season. A row is its own
    history: it is answered once."""

    program = models.ForeignKey(Program, on_delete=models.CASCADE, related_name="route_requests")
    route = models.ForeignKey(Route, on_delete=models.CASCADE, related_name="requests")
    member = models.ForeignKey(
        "accounts.Membership", on_delete=models.CASCADE, related_name="route_requests"
    )
    season_year = models.PositiveSmallIntegerField()
    window = models.CharField(max_length=60, blank=True)
    note = models.CharField(max_length=500, blank=True)
    state = models.CharField(max_length=9, choices=RequestState.choices, default=RequestState.ASKED)
    asked_at = models.DateTimeField(db_default=Now())
    answer = models.CharField(max_length=500, blank=True)
    answered_at = models.DateTimeField(null=True, blank=True)
    answered_by = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        on_delete=models.SET_NULL,
        null=True,
        blank=True,
        related_name="+",
    )

    class Meta:
        ordering = ["asked_at", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["route", "member", "season_year", "window"],
                condition=Q(state=RequestState.ASKED),
                name="routerequest_open_once",
            ),
            models.CheckConstraint(
                condition=Q(state__in=RequestState.values), name="routerequest_state_known"
            ),
        ]
