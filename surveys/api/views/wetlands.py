"""What is known of the wetlands themselves."""

from __future__ import annotations

from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.access import Permission
from surveys.api.base import ProgramView
from surveys.api.describing import ERRORS
from surveys.api.serializers.wetlands import (
    ChangeRowSerializer,
    StationWeatherRowSerializer,
    WaterRowSerializer,
    WetlandFilterSerializer,
)
from surveys.programs.wetland_changes import changes_of
from surveys.publishing.station_weather import station_rows
from surveys.publishing.stops import shared_stops
from surveys.seasons.water import water_seen
from surveys.trends.water_tables import water_row


class WaterRecords(ProgramView):
    permission = Permission.READ_RECORDS
    filter_serializer = WetlandFilterSerializer

    @extend_schema(
        operation_id="records_water",
        parameters=[WetlandFilterSerializer],
        responses={200: WaterRowSerializer(many=True), **ERRORS},
    )
    def get(self, request: Request, program: str) -> Response:
        """The water that visits saw at each stop, by season year."""
        filters = self.filters()
        routes = [self.route(filters["route"]).pk] if "route" in filters else None
        stops = shared_stops(self.program)
        years = water_seen(
            self.program,
            routes=routes,
            first_year=filters.get("first_year"),
            last_year=filters.get("last_year"),
        )
        return Response([water_row(stops[year.stop].label, year) for year in years])


class ChangeRecords(ProgramView):
    permission = Permission.READ_RECORDS

    @extend_schema(
        operation_id="records_changes",
        responses={200: ChangeRowSerializer(many=True), **ERRORS},
    )
    def get(self, request: Request, program: str) -> Response:
        """What was done to the wetlands at stops, and when."""
        stops = shared_stops(self.program)
        return Response(
            [
                {
                    "stop": stops[change.stop_id].label,
                    "kind": change.kind,
                    "began": change.began,
                    "ended": change.ended,
                }
                for change in changes_of(self.program)
            ]
        )


class StationWeatherRecords(ProgramView):
    permission = Permission.READ_RECORDS
    filter_serializer = WetlandFilterSerializer

    @extend_schema(
        operation_id="records_station_weather",
        parameters=[WetlandFilterSerializer],
        responses={200: StationWeatherRowSerializer(many=True), **ERRORS},
    )
    def get(self, request: Request, program: str) -> Response:
        """What weather stations measured before and on the night of each visit."""
        filters = self.filters()
        rows = station_rows(
            self.program,
            shared_stops(self.program),
            first_year=filters.get("first_year", 0),
            last_year=filters.get("last_year", 9999),
            route_id=self.route(filters["route"]).pk if "route" in filters else None,
        )
        return Response(list(rows))
