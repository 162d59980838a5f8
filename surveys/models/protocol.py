"""Protocols. A version never changes once a visit refers to it: old visits
keep the version they were surveyed under and are judged by it."""

import pgtrigger
from django.db import models

from surveys.language import said
from surveys.models.fields import (
    TEMPERATURE_UNITS,
    day_field,
    month_days_exist,
    month_field,
)
from surveys.models.history import tracked
from surveys.models.limits import (
    limit_constraints,
    limit_field,
)
from surveys.models.program import Program
from surveys.protocol.values import WithoutTest

FROZEN_MESSAGE = "This protocol version is in use by visits and can no longer change."


def frozen_once_used(version_column: str) -> pgtrigger.Trigger:
    return pgtrigger.Trigger(
        name="frozen_once_used",
        when=pgtrigger.Before,
        operation=pgtrigger.Update | pgtrigger.Delete,
        func=(
            "IF EXISTS (SELECT 1 FROM surveys_visit WHERE protocol_version_id = "
            f"OLD.{version_column}) THEN RAISE EXCEPTION '{FROZEN_MESSAGE}' "
            "USING ERRCODE = 'restrict_violation'; END IF; "
            "IF TG_OP = 'DELETE' THEN RETURN OLD; END IF; RETURN NEW;"
        ),
    )


@tracked
class Protocol(models.Model):
    """A named way of surveying that routes follow."""

    program = models.ForeignKey(Program, on_delete=models.PROTECT, related_name="protocols")
    name = models.CharField(max_length=120)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["program", "name"], name="protocol_name_unique")
        ]

    def __str__(self) -> str:
        return self.name


@tracked
class ProtocolVersion(models.Model):
    """The limits in force. An empty field means that there is no such limit."""

    protocol = models.ForeignKey(Protocol, on_delete=models.PROTECT, related_name="versions")
    number = models.PositiveIntegerField()
    in_force_from = models.DateField(help_text="First night that is surveyed under this version.")
    season_begins_month = month_field(default=1)
    season_begins_day = day_field(default=1)
    earliest_start_after_sunset_min = limit_field("earliest_start_after_sunset")
    latest_end_clock = limit_field("latest_end_clock")
    latest_end_after_sunset_min = limit_field("latest_end_after_sunset")
    settling_wait_s = limit_field("settling_wait")
    listening_time_s = limit_field("listening_time")
    longest_listening_time_s = limit_field("longest_listening_time")
    interruption = limit_field("interruption")
    listening_radius_m = limit_field("listening_radius_m")
    max_beaufort = limit_field("max_beaufort")
    forbidden_skies = limit_field("forbidden_skies")
    loudest_noise = limit_field("loudest_noise")
    plausible_temperature_c = limit_field("plausible_temperature_c")
    min_stops = limit_field("min_stops")
    stops_in_order = limit_field("stops_in_order")
    min_stop_spacing_m = limit_field("min_stop_spacing_m")
    min_days_between_visits = limit_field("min_days_between_visits")
    training_needed = limit_field("training_needed")
    without_test = limit_field("without_test", db_default=WithoutTest.QUESTION.value)
    max_distance_from_stop_m = limit_field("max_distance_from_stop_m")
    max_drive_kmh = limit_field("max_drive_kmh")
    sky_codes = limit_field("sky_codes")
    noise_codes = limit_field("noise_codes")
    source = models.TextField(blank=True, help_text="Where the limits come from.")
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["protocol", "number"]
        constraints = [
            models.UniqueConstraint(
                fields=["protocol", "number"], name="protocolversion_number_unique"
            ),
            models.CheckConstraint(
                condition=month_days_exist("season_begins"), name="protocolversion_season_begins"
            ),
            *limit_constraints("protocolversion"),
        ]
        triggers = [frozen_once_used("id")]

    def __str__(self) -> str:
        return said("{protocol}, version {number}", protocol=self.protocol.name, number=self.number)


@tracked
class SeasonWindow(models.Model):
    """Days of the year in which one visit is due; may cross New Year.

    Temperature limits keep the unit they were set in: they are compared exactly.
    """

    version = models.ForeignKey(ProtocolVersion, on_delete=models.CASCADE, related_name="windows")
    order = models.PositiveSmallIntegerField()
    name = models.CharField(max_length=60)
    opens_month = month_field()
    opens_day = day_field()
    closes_month = month_field()
    closes_day = day_field()
    min_air_temperature = models.DecimalField(max_digits=5, decimal_places=2, null=True, blank=True)
    min_water_temperature = models.DecimalField(
        max_digits=5, decimal_places=2, null=True, blank=True
    )
    temperature_unit = models.CharField(max_length=1, choices=TEMPERATURE_UNITS, default="C")

    class Meta:
        ordering = ["version", "order"]
        constraints = [
            models.UniqueConstraint(fields=["version", "order"], name="seasonwindow_order_unique"),
            models.CheckConstraint(
                condition=month_days_exist("opens", "closes"), name="seasonwindow_days_exist"
            ),
        ]
        triggers = [frozen_once_used("version_id")]

    def __str__(self) -> str:
        return self.name
