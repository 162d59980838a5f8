"""What is known of the wetlands themselves."""

from rest_framework import serializers

from surveys.api.serializers.filters import YearsFilterSerializer
from surveys.api.serializers.results import row_serializer
from surveys.publishing.tables import CHANGES, STATION_WEATHER, WATER


class WetlandFilterSerializer(YearsFilterSerializer):
    """Filters; those that are given must all hold."""

    route = serializers.CharField(required=False, help_text="code of a route")


ChangeRowSerializer = row_serializer("ChangeRow", CHANGES)
WaterRowSerializer = row_serializer("WaterRow", WATER)
StationWeatherRowSerializer = row_serializer("StationWeatherRow", STATION_WEATHER)
