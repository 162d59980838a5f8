"""Protocol versions and their season windows."""

from rest_framework import serializers

from surveys.models import (
    ProtocolVersion,
    SeasonWindow,
)
from surveys.protocol.limits.table import LIMITS


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
    """The limits in effect; null where there is no such limit."""

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
            *(limit.column for limit in LIMITS),
            "source",
            "windows",
        ]
        read_only_fields = fields
