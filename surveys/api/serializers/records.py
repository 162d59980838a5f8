"""What a submitted visit became: listening periods, calls and sightings."""

from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from surveys.api.serializers.places import GeometryField
from surveys.models import (
    CallIndex,
    Confirmation,
    ListeningPeriod,
    ReviewStep,
    Sighting,
    Step,
)

UNIT = "C or F: the unit that was typed; the value is in °C. Blank without a reading."


class ConfirmationSerializer(serializers.ModelSerializer):
    """Who heard the call again, in which recording, and when. With `without_sheet` two people named
    the species who had not seen the sheet; `by` is the second of them."""

    by = serializers.CharField(source="by.name")

    class Meta:
        model = Confirmation
        fields = ["id", "recording", "by", "at", "without_sheet"]
        read_only_fields = fields


class CallSerializer(serializers.ModelSerializer):
    """A species that was written down. `index` is null and `not_sure` true where nobody was sure,
    and where an imported file has no record of the species at this stop: neither a detection nor
    a zero. `confirmation` is null where nobody has confirmed it by ear from a recording.
    `distance` is blank unless the protocol has a listening radius; `far` is not a detection in
    trends."""

    species = serializers.CharField(source="species.code")
    confirmation = serializers.SerializerMethodField()

    class Meta:
        model = CallIndex
        fields = ["species", "index", "not_sure", "distance", "counts_in_trends", "confirmation"]
        read_only_fields = fields

    @extend_schema_field(ConfirmationSerializer(allow_null=True))
    def get_confirmation(self, call: CallIndex) -> dict[str, Any] | None:
        confirmation = getattr(call, "confirmation", None)
        return None if confirmation is None else ConfirmationSerializer(confirmation).data


class PeriodSerializer(serializers.ModelSerializer):
    """One stop of the visit. A checklist species that is not among `calls` at a stop
    that was listened to has index 0."""

    stop = serializers.IntegerField(source="stop.number")
    air_temperature_unit = serializers.CharField(help_text=UNIT)
    water_temperature_unit = serializers.CharField(help_text=UNIT)
    measured_at = GeometryField(allow_null=True)
    calls = CallSerializer(many=True)

    class Meta:
        model = ListeningPeriod
        fields = [
            "id",
            "stop",
            "status",
            "skip_reason",
            "counts_in_trends",
            "arrived_at",
            "started_at",
            "finished_at",
            "paused_s",
            "interrupted",
            "air_temperature_c",
            "air_temperature_unit",
            "water_temperature_c",
            "water_temperature_unit",
            "beaufort",
            "sky",
            "noise",
            "water_tonight",
            "measured_at",
            "measured_accuracy_m",
            "note",
            "own_fields",
            "calls",
        ]
        read_only_fields = fields


class SightingSerializer(serializers.ModelSerializer):
    stop = serializers.SerializerMethodField()
    species = serializers.CharField(source="species.code")
    has_photo = serializers.SerializerMethodField()

    class Meta:
        model = Sighting
        fields = [
            "row",
            "stop",
            "species",
            "life_stage",
            "count",
            "color_form",
            "note",
            "has_photo",
        ]
        read_only_fields = fields

    def get_stop(self, sighting: Sighting) -> int | None:
        return sighting.stop.number if sighting.stop else None

    def get_has_photo(self, sighting: Sighting) -> bool:
        return sighting.photo_id is not None


class ReviewStepSerializer(serializers.ModelSerializer):
    by = serializers.CharField(source="by.name")

    class Meta:
        model = ReviewStep
        fields = ["step", "by", "at", "revision", "note"]
        read_only_fields = fields


class RecordsSerializer(serializers.Serializer):
    own_fields = serializers.DictField(
        help_text="values of the program's own fields that are asked once for the visit, by key"
    )
    periods = PeriodSerializer(many=True)
    sightings = SightingSerializer(many=True)
    steps = ReviewStepSerializer(many=True)


def records_data(visit: Any) -> dict[str, Any]:
    """Periods, sightings and steps of a visit in a fixed number of queries."""
    return RecordsSerializer(
        {
            "own_fields": visit.own_fields,
            "periods": visit.periods.select_related("stop").prefetch_related(
                "calls__species", "calls__confirmation__by"
            ),
            "sightings": visit.sightings.select_related("stop", "species"),
            # Messages are between the observer and the coordinators.
            "steps": visit.steps.exclude(step=Step.MESSAGE).select_related("by"),
        }
    ).data
