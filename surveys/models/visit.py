"""Visits and what was heard and seen on them.

A visit carries its sheet twice: `cells` holds what was typed, cell by cell, so
that nothing is lost while it is a draft; the rows below it are written when it
is submitted. Index 0 is never stored: it follows from a listened stop and the
checklist of the night.
"""

import uuid

import pgtrigger
from django.conf import settings
from django.contrib.gis.db import models as gis
from django.db import models
from django.db.models import F, Q
from django.utils import timezone
from django.utils.translation import gettext_lazy

from surveys.models.call_history import notes_calls
from surveys.models.fields import (
    NOISE_CHOICES,
    RAIN_UNITS,
    SKY_CHOICES,
    celsius_field,
    in_range,
    is_choice,
    millimeters_field,
    sky_field,
    typed_unit_field,
    within_wgs84,
)
from surveys.models.history import UpdateOfKeysEvent, tracked, tracked_with
from surveys.models.own_field import own_values_field
from surveys.models.program import Program
from surveys.models.protocol import ProtocolVersion
from surveys.models.route import Route, Stop
from surveys.models.species import Species
from surveys.models.storage import counts_bytes
from surveys.models.year_count import marks_by_call, marks_by_period, marks_by_visit
from surveys.protocol.values import CallDistance, PeriodStatus


class VisitState(models.TextChoices):
    DRAFT = "draft", gettext_lazy("Draft")
    SUBMITTED = "submitted", gettext_lazy("Submitted")
    SENT_BACK = "sent_back", gettext_lazy("Sent back")
    ACCEPTED = "accepted", gettext_lazy("Accepted")
    SET_ASIDE = "set_aside", gettext_lazy("Set aside")


class Source(models.TextChoices):
    PHONE = "phone", gettext_lazy("Phone")
    PAPER = "paper", gettext_lazy("Paper sheet")
    IMPORT = "import", gettext_lazy("Spreadsheet")


class WaterTonight(models.TextChoices):
    DRY = "dry", gettext_lazy("Dry")
    POOLS = "pools", gettext_lazy("Pools")
    FULL = "full", gettext_lazy("Full")
    NOT_SEEN = "not_seen", gettext_lazy("Not seen")


class DistanceOfCalls(models.TextChoices):
    NEAR = CallDistance.NEAR.value, gettext_lazy("Near")
    FAR = CallDistance.FAR.value, gettext_lazy("Far")


class LifeStage(models.TextChoices):
    EGGS = "eggs", gettext_lazy("Egg mass")
    LARVA = "larva", gettext_lazy("Tadpole or larva")
    METAMORPH = "metamorph", gettext_lazy("Metamorph")
    JUVENILE = "juvenile", gettext_lazy("Juvenile")
    ADULT = "adult", gettext_lazy("Adult")


class VisitQuerySet(models.QuerySet):
    def counted(self, program: Program) -> "VisitQuerySet":
        """The program's visits that count in trends; `counted_visit` in SQL."""
        return self.filter(route__program=program, counts_in_trends=True)


# A sheet is saved many times, a few cells at a time. Nobody looks visits up by the second observer
# of earlier days: no index.
@tracked_with(
    update=UpdateOfKeysEvent("cells"),
    second_member=models.ForeignKey(
        settings.AUTH_USER_MODEL,
        on_delete=models.DO_NOTHING,
        null=True,
        db_constraint=False,
        db_index=False,
        related_name="+",
    ),
)
class Visit(models.Model):
    """One route on one night."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4)
    route = models.ForeignKey(Route, on_delete=models.PROTECT, related_name="visits")
    protocol_version = models.ForeignKey(
        ProtocolVersion, on_delete=models.PROTECT, related_name="visits"
    )
    observer = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="visits"
    )
    # Who came along: a member of the program, or a guest of whom nothing but the name is known.
    second_member = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="shared_visits",
        db_index=False,
    )
    second_observer = models.CharField(max_length=120, blank=True)
    night = models.DateField()
    season_year = models.PositiveSmallIntegerField()
    window = models.CharField(max_length=60, blank=True)
    state = models.CharField(max_length=10, choices=VisitState.choices, default=VisitState.DRAFT)
    source = models.CharField(max_length=10, choices=Source.choices, default=Source.PAPER)
    revision = models.PositiveIntegerField(default=1)
    cells = models.JSONField(default=dict, blank=True)
    # Number to key of the stops that a phone took along; empty where none did.
    carried_stops = models.JSONField(default=dict, db_default=models.Value({}, models.JSONField()))
    counts_in_trends = models.BooleanField(default=False)
    start_air_temperature_c = celsius_field()
    start_air_temperature_unit = typed_unit_field()
    start_beaufort = models.PositiveSmallIntegerField(null=True, blank=True)
    start_sky = sky_field()
    end_air_temperature_c = celsius_field()
    end_air_temperature_unit = typed_unit_field()
    end_beaufort = models.PositiveSmallIntegerField(null=True, blank=True)
    end_sky = sky_field()
    rain_48h_mm = millimeters_field()
    # Rain that fell, but too little to measure: rain_48h_mm is null then.
    rain_48h_is_trace = models.BooleanField(default=False, db_default=False)
    rain_48h_unit = models.CharField(max_length=2, choices=RAIN_UNITS, blank=True)
    notes = models.TextField(blank=True)
    own_fields = own_values_field()
    created_at = models.DateTimeField(auto_now_add=True)
    changed_at = models.DateTimeField(auto_now=True)
    submitted_at = models.DateTimeField(null=True, blank=True)

    objects = VisitQuerySet.as_manager()

    class Meta:
        ordering = ["night", "pk"]
        indexes = [
            models.Index(fields=["route", "season_year", "state"]),
            models.Index(fields=["state", "submitted_at"]),
            models.Index(fields=["observer", "night"]),
            models.Index(
                fields=["second_member", "night"],
                name="visit_shared",
                condition=Q(second_member__isnull=False),
            ),
        ]
        constraints = [
            models.CheckConstraint(
                condition=Q(state__in=VisitState.values), name="visit_state_known"
            ),
            models.CheckConstraint(
                condition=Q(counts_in_trends=False) | Q(state=VisitState.ACCEPTED),
                name="visit_counts_only_when_accepted",
            ),
            models.CheckConstraint(
                condition=Q(state=VisitState.DRAFT) | Q(submitted_at__isnull=False),
                name="visit_submitted_at_known",
            ),
            models.CheckConstraint(
                condition=in_range("start_beaufort", 0, 12) & in_range("end_beaufort", 0, 12),
                name="visit_beaufort",
            ),
            models.CheckConstraint(
                condition=is_choice("start_sky", SKY_CHOICES) & is_choice("end_sky", SKY_CHOICES),
                name="visit_sky",
            ),
            models.CheckConstraint(
                condition=Q(rain_48h_is_trace=False) | Q(rain_48h_mm__isnull=True),
                name="visit_trace_of_rain_has_no_amount",
            ),
        ]
        triggers = [
            pgtrigger.FSM(
                name="visit_state_steps",
                field="state",
                transitions=[
                    (VisitState.DRAFT.value, VisitState.SUBMITTED.value),
                    (VisitState.SENT_BACK.value, VisitState.SUBMITTED.value),
                    (VisitState.SUBMITTED.value, VisitState.SENT_BACK.value),
                    (VisitState.SUBMITTED.value, VisitState.ACCEPTED.value),
                    (VisitState.SUBMITTED.value, VisitState.SET_ASIDE.value),
                    (VisitState.ACCEPTED.value, VisitState.SUBMITTED.value),
                    (VisitState.SET_ASIDE.value, VisitState.SUBMITTED.value),
                ],
            ),
            *marks_by_visit(),
        ]


class DiscardedDraft(models.Model):
    """The id of a draft that its observer threw away. A request that was held up on its way
    cannot begin it again; whoever changes their mind names `discarded_at`."""

    visit_id = models.UUIDField()
    observer = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="discarded_drafts"
    )
    discarded_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["discarded_at", "pk"]
        constraints = [
            models.UniqueConstraint(fields=["observer", "visit_id"], name="draft_discarded_once")
        ]


@tracked
class ListeningPeriod(models.Model):
    """One stop on one visit. Instants are UTC."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4)
    visit = models.ForeignKey(Visit, on_delete=models.CASCADE, related_name="periods")
    stop = models.ForeignKey(Stop, on_delete=models.PROTECT, related_name="periods")
    status = models.CharField(
        max_length=10, choices=[(status.value, status.name.capitalize()) for status in PeriodStatus]
    )
    skip_reason = models.CharField(max_length=200, blank=True)
    counts_in_trends = models.BooleanField(default=False)
    arrived_at = models.DateTimeField(null=True, blank=True)
    started_at = models.DateTimeField(null=True, blank=True)
    finished_at = models.DateTimeField(null=True, blank=True)
    paused_s = models.PositiveIntegerField(default=0)
    interrupted = models.BooleanField(null=True, blank=True)
    air_temperature_c = celsius_field()
    air_temperature_unit = typed_unit_field()
    water_temperature_c = celsius_field()
    water_temperature_unit = typed_unit_field()
    beaufort = models.PositiveSmallIntegerField(null=True, blank=True)
    sky = sky_field()
    noise = models.CharField(max_length=20, choices=NOISE_CHOICES, blank=True)
    water_tonight = models.CharField(max_length=10, choices=WaterTonight.choices, blank=True)
    measured_at = gis.PointField(geography=True, srid=4326, null=True, blank=True)
    measured_accuracy_m = models.FloatField(null=True, blank=True)
    note = models.TextField(blank=True)
    own_fields = own_values_field()

    class Meta:
        ordering = ["visit", "stop__number"]
        constraints = [
            models.UniqueConstraint(
                fields=["visit", "stop"], name="period_once_per_stop_and_visit"
            ),
            models.CheckConstraint(
                condition=Q(started_at__isnull=True)
                | Q(finished_at__isnull=True)
                | Q(finished_at__gt=F("started_at")),
                name="period_finish_after_start",
            ),
            models.CheckConstraint(
                condition=Q(arrived_at__isnull=True)
                | Q(started_at__isnull=True)
                | Q(started_at__gte=F("arrived_at")),
                name="period_start_not_before_arrival",
            ),
            models.CheckConstraint(
                condition=Q(status=PeriodStatus.LISTENED.value) | Q(counts_in_trends=False),
                name="period_counts_only_when_listened",
            ),
            models.CheckConstraint(
                condition=Q(status__in=[status.value for status in PeriodStatus]),
                name="period_status_known",
            ),
            models.CheckConstraint(condition=in_range("beaufort", 0, 12), name="period_beaufort"),
            models.CheckConstraint(condition=is_choice("sky", SKY_CHOICES), name="period_sky"),
            models.CheckConstraint(
                condition=is_choice("noise", NOISE_CHOICES), name="period_noise"
            ),
            *within_wgs84("measured_at", "period"),
        ]
        triggers = marks_by_period()


class CallIndex(models.Model):
    """A species heard at a stop: index 1-3, or "heard, not sure" without an index.

    A row that does not count (`not_sure`, or left out by the coordinator) makes
    the species missing at that stop, never absent. One that was heard only beyond the listening
    radius of the protocol (`far`) says nothing of what is within it: see `call_within` in
    counted.sql.
    """

    # The two indexes over both columns serve either alone: some 40 million rows need no more.
    period = models.ForeignKey(
        ListeningPeriod, on_delete=models.CASCADE, related_name="calls", db_index=False
    )
    species = models.ForeignKey(
        Species, on_delete=models.PROTECT, related_name="calls", db_index=False
    )
    index = models.PositiveSmallIntegerField(null=True, blank=True)
    not_sure = models.BooleanField(default=False)
    # Only under a protocol with a listening radius.
    distance = models.CharField(
        max_length=4, choices=DistanceOfCalls.choices, blank=True, db_default=""
    )
    counts_in_trends = models.BooleanField(default=False)

    class Meta:
        ordering = ["period", "species"]
        indexes = [models.Index(fields=["species", "period"])]
        constraints = [
            models.UniqueConstraint(fields=["period", "species"], name="callindex_once_per_period"),
            models.CheckConstraint(
                condition=Q(not_sure=False, index__range=(1, 3))
                | Q(not_sure=True, index__isnull=True),
                name="callindex_1_to_3_or_not_sure",
            ),
            models.CheckConstraint(
                condition=Q(not_sure=False) | Q(counts_in_trends=False),
                name="callindex_not_sure_never_counts",
            ),
            models.CheckConstraint(
                condition=is_choice("distance", DistanceOfCalls.choices), name="callindex_distance"
            ),
        ]
        triggers = [*marks_by_call(), *notes_calls()]


class Photo(models.Model):
    """A picture belonging to a row of a visit's sheet, stored without position tags."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4)
    visit = models.ForeignKey(Visit, on_delete=models.CASCADE, related_name="photos")
    row = models.PositiveSmallIntegerField()
    image = models.ImageField(upload_to="photos/%Y/")
    # 0 of one from before this was counted, until the night.
    bytes = models.PositiveIntegerField(default=0, db_default=0)
    sha256 = models.CharField(max_length=64)
    uploaded_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT)
    uploaded_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["visit", "row"], name="photo_once_per_row")]
        triggers = [counts_bytes()]


@tracked
class Sighting(models.Model):
    """An animal seen rather than heard."""

    visit = models.ForeignKey(Visit, on_delete=models.CASCADE, related_name="sightings")
    row = models.PositiveSmallIntegerField()
    stop = models.ForeignKey(
        Stop, on_delete=models.PROTECT, null=True, blank=True, related_name="sightings"
    )
    species = models.ForeignKey(Species, on_delete=models.PROTECT, related_name="sightings")
    life_stage = models.CharField(max_length=10, choices=LifeStage.choices)
    count = models.PositiveIntegerField(null=True, blank=True)
    color_form = models.CharField(max_length=80, blank=True)
    note = models.TextField(blank=True)
    photo = models.ForeignKey(
        Photo, on_delete=models.SET_NULL, null=True, blank=True, related_name="+"
    )

    class Meta:
        ordering = ["visit", "row"]
        constraints = [
            models.UniqueConstraint(fields=["visit", "row"], name="sighting_once_per_row")
        ]
