"""Programs, routes, stops and checklists. Places are GeoJSON geometries (RFC 7946)."""

from typing import Any

from django.contrib.gis.geos import GEOSGeometry
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from surveys.models import (
    ChecklistEntry,
    Program,
    Route,
    Stop,
)


@extend_schema_field(
    {
        "type": "object",
        "description": "GeoJSON geometry in WGS84, longitude first",
        "properties": {
            "type": {"type": "string"},
            "coordinates": {"type": "array", "items": {}},
        },
        "required": ["type", "coordinates"],
    }
)
class GeometryField(serializers.Field):
    """A geometry as GeoJSON; read only."""

    def __init__(self, **options: Any) -> None:
        super().__init__(read_only=True, **options)

    def to_representation(self, value: GEOSGeometry) -> dict[str, Any]:
        return {"type": value.geom_type, "coordinates": value.coords}


class ProgramSerializer(serializers.ModelSerializer):
    temperature_unit = serializers.CharField(help_text="C or F")
    role = serializers.SerializerMethodField(help_text="your role here")

    class Meta:
        model = Program
        fields = [
            "name",
            "slug",
            "region",
            "time_zone",
            "temperature_unit",
            "distance_unit",
            "contact_email",
            "local_rules",
            "role",
        ]
        read_only_fields = fields

    def get_role(self, program: Program) -> str:
        return self.context["member"].role


class StopSerializer(serializers.ModelSerializer):
    place = GeometryField()

    class Meta:
        model = Stop
        fields = [
            "number",
            "name",
            "place",
            "active_from",
            "active_until",
            "habitat",
            "hydroperiod",
            "fish",
            "last_burn",
        ]
        read_only_fields = fields


class RouteRowSerializer(serializers.ModelSerializer):
    """A route in a list."""

    protocol = serializers.CharField(source="protocol.name")

    class Meta:
        model = Route
        fields = ["code", "name", "region", "stratum", "active", "chosen", "protocol"]
        read_only_fields = fields


class RouteSerializer(RouteRowSerializer):
    """A route with its stops of one night and the protocol version in effect then."""

    stops = serializers.SerializerMethodField()
    protocol_version = serializers.SerializerMethodField()
    line = GeometryField(allow_null=True)

    class Meta(RouteRowSerializer.Meta):
        fields = [
            *RouteRowSerializer.Meta.fields,
            "access_notes",
            "line",
            "protocol_version",
            "stops",
        ]
        read_only_fields = fields

    @extend_schema_field(StopSerializer(many=True))
    def get_stops(self, route: Route) -> list[dict[str, Any]]:
        return StopSerializer(self.context["stops"], many=True).data

    def get_protocol_version(self, route: Route) -> int | None:
        version = self.context["version"]
        return version.pk if version else None


class FeatureSerializer(serializers.Serializer):
    type = serializers.CharField()
    geometry = GeometryField()
    properties = serializers.DictField()


class FeatureCollectionSerializer(serializers.Serializer):
    """GeoJSON of a route: its stops and, when drawn, its line."""

    type = serializers.CharField()
    features = FeatureSerializer(many=True)


class ChecklistEntrySerializer(serializers.ModelSerializer):
    code = serializers.CharField(source="species.code")
    scientific_name = serializers.CharField(source="species.scientific_name")
    common_name = serializers.CharField(source="species.common_name")
    is_complex = serializers.BooleanField(source="species.is_complex")
    members = serializers.SlugRelatedField(
        source="species.members",
        slug_field="code",
        many=True,
        read_only=True,
        help_text="of a joint entry: codes of its species",
    )

    class Meta:
        model = ChecklistEntry
        fields = [
            "code",
            "scientific_name",
            "common_name",
            "is_complex",
            "members",
            "listed_from",
            "listed_until",
            "calls_from_month",
            "calls_from_day",
            "calls_to_month",
            "calls_to_day",
        ]
        read_only_fields = fields


class NightFilterSerializer(serializers.Serializer):
    night = serializers.DateField(required=False, help_text="as it stood on this night")


def feature_collection(route: Route, stops: list[Stop]) -> dict[str, Any]:
    geometry = GeometryField()
    features = [
        {
            "type": "Feature",
            "geometry": geometry.to_representation(stop.place),
            "properties": {"route": route.code, "stop": stop.number, "name": stop.name},
        }
        for stop in stops
    ]
    if route.line is not None:
        line = geometry.to_representation(route.line)
        properties = {"route": route.code, "name": route.name}
        features.insert(0, {"type": "Feature", "geometry": line, "properties": properties})
    return {"type": "FeatureCollection", "features": features}
