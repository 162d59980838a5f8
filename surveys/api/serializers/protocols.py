"""Protocol versions and their season windows."""

from rest_framework import serializers

from surveys.models import (
    ProtocolVersion,
    SeasonWindow,
)


class SeasonWindowSerializer(serializers.ModelSerializer):
    temperature_unit = serializers.CharField(help_text="C or F: the unit the limits are set in")

    class Meta:
        model = SeasonWindow
        fields = [
            "name",
            "opens_month",
            "opens_day",
            "closes_month",
            "closes_day",
            "min_air_temperature",
            "min_water_temperature",
            "temperature_unit",
        ]
        read_only_fields = fields


class ProtocolVersionSerializer(serializers.ModelSerializer):
    """The limits in force; null where there is no such limit."""

    protocol = serializers.CharField(source="protocol.name")
    windows = SeasonWindowSerializer(many=True)

    class Meta:
        model = ProtocolVersion
        fields = [
            "id",
            "protocol",
            "number",
            "in_force_from",
            "season_begins_month",
            "season_begins_day",
            "settling_wait_s",
            "listening_time_s",
            "longest_listening_time_s",
            "interruption",
            "earliest_start_after_sunset_min",
            "latest_end_clock",
            "latest_end_after_sunset_min",
            "min_stops",
            "stops_in_order",
            "min_stop_spacing_m",
            "max_beaufort",
            "wet_sky_codes",
            "max_noise_index",
            "min_days_between_visits",
            "max_distance_from_stop_m",
            "max_drive_kmh",
            "training_needed",
            "source",
            "windows",
        ]
        read_only_fields = fields
