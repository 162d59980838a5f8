"""Records for analysts: pages, stops, and exports of any length."""

from __future__ import annotations

import uuid
from typing import Any

from django.http import StreamingHttpResponse
from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema
from rest_framework.exceptions import ValidationError
from rest_framework.negotiation import BaseContentNegotiation
from rest_framework.renderers import JSONRenderer
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.utils.urls import replace_query_param

from accounts.access import Permission
from surveys.api.base import ProgramView
from surveys.api.cursors import (
    decode_cursor,
    encode_cursor,
)
from surveys.api.describing import ERRORS
from surveys.api.serializers.analysts import (
    CallsPage,
    ExportFilterSerializer,
    OwnValuesPage,
    PagedCallFilterSerializer,
    PagedFilterSerializer,
    PeriodsPage,
    PlacesFilterSerializer,
    RouteRecordSerializer,
    StoppedPage,
    StopRecordSerializer,
    VisitsPage,
    stop_record,
)
from surveys.api.serializers.places import FeatureCollectionSerializer
from surveys.exports.records import (
    CALLS,
    OWN_VALUES,
    PERIODS,
    STOPPED,
    VISITS,
    RecordFilter,
    RecordTable,
    page,
    places_of,
    statement,
)
from surveys.exports.routes import route_records
from surveys.exports.writing import EXPORT_FORMATS
from surveys.language import gettext, said
from surveys.publishing.exact import note_exact_download
from surveys.publishing.places import OPEN
from surveys.seasons.options import checklist_species

_FILTERS = ("season_year", "first_year", "last_year", "species", "route", "changed_since")


class _Records(ProgramView):
    permission = Permission.READ_RECORDS

    def requests_exact_places(self, filters: dict[str, Any], what: str) -> bool:
        """Whether exact places are requested. If so, the request is logged.

        Raises PermissionDenied when the member or the token may not have them.
        """
        if filters.get("places") != "exact":
            return False
        note_exact_download(
            self.member, what=what, path=self.request.get_full_path(), token=self.token
        )
        return True

    def selection(self, filters: dict[str, Any]) -> RecordFilter:
        if "route" in filters:
            self.route(filters["route"])
        if "species" in filters and filters["species"] not in {
            species.code for species in checklist_species(self.program)
        }:
            raise ValidationError(
                {
                    "species": said(
                        "{filters} is not a species of the checklist.", filters=filters["species"]
                    )
                }
            )
        return RecordFilter(**{name: filters[name] for name in _FILTERS if name in filters})


class _Page(_Records):
    table: RecordTable

    def page(self, filters: dict[str, Any], *, exact: bool = False) -> Response:
        rows, last = page(
            self.program,
            self.table,
            self.selection(filters),
            exact=exact,
            after=self._after(filters.get("cursor")),
            limit=filters["limit"],
        )
        url = self.request.build_absolute_uri()
        next_url = None if last is None else replace_query_param(url, "cursor", encode_cursor(last))
        return Response({"next": next_url, "results": rows})

    def _after(self, cursor: str | None) -> list[str] | None:
        if cursor is None:
            return None
        key = decode_cursor(cursor, len(self.table.key))
        try:
            uuid.UUID(key[0])
        except ValueError:
            raise ValidationError(
                {"cursor": gettext("This is not a cursor of this list.")}
            ) from None
        return key


class VisitRecordsPage(_Page):
    table = VISITS
    filter_serializer = PagedFilterSerializer

    @extend_schema(parameters=[PagedFilterSerializer], responses={200: VisitsPage, **ERRORS})
    def get(self, request: Request, program: str) -> Response:
        """Accepted visits that count. Observers by name only with their consent."""
        return self.page(self.filters())


class StoppedCountingPage(_Page):
    table = STOPPED
    filter_serializer = PagedFilterSerializer

    @extend_schema(parameters=[PagedFilterSerializer], responses={200: StoppedPage, **ERRORS})
    def get(self, request: Request, program: str) -> Response:
        """Visits that counted once and no longer do: reopened, sent back, set aside, or excluded
        from trends. A copy of the records drops all rows of these; a visit that counts again is
        among `records/visits/` and no longer here. Route, night and season year are those that
        it had when it last counted."""
        return self.page(self.filters())


class PeriodRecordsPage(_Page):
    table = PERIODS
    filter_serializer = PagedFilterSerializer

    @extend_schema(parameters=[PagedFilterSerializer], responses={200: PeriodsPage, **ERRORS})
    def get(self, request: Request, program: str) -> Response:
        """Listening periods that count, silent ones included."""
        return self.page(self.filters())


class OwnValuesRecordsPage(_Page):
    table = OWN_VALUES
    filter_serializer = PagedFilterSerializer

    @extend_schema(parameters=[PagedFilterSerializer], responses={200: OwnValuesPage, **ERRORS})
    def get(self, request: Request, program: str) -> Response:
        """Values of the program's own fields, as far as the program publishes them. What the
        fields mean is at `own-fields/`."""
        return self.page(self.filters())


class CallRecordsPage(_Page):
    table = CALLS
    filter_serializer = PagedCallFilterSerializer

    @extend_schema(parameters=[PagedCallFilterSerializer], responses={200: CallsPage, **ERRORS})
    def get(self, request: Request, program: str) -> Response:
        """One row a listening period and species of that night's checklist, zeros included."""
        filters = self.filters()
        exact = self.requests_exact_places(filters, gettext("Call records, a page"))
        return self.page(filters, exact=exact)


class StopRecords(_Records):
    filter_serializer = PlacesFilterSerializer

    @extend_schema(
        operation_id="records_stops",
        parameters=[PlacesFilterSerializer],
        responses={200: StopRecordSerializer(many=True), **ERRORS},
    )
    def get(self, request: Request, program: str) -> Response:
        """Every stop, with its place as far as the program shares it."""
        return Response(self.stops())

    def stops(self) -> list[dict[str, Any]]:
        exact = self.requests_exact_places(self.filters(), gettext("Stops"))
        regions = dict(self.program.routes.values_list("code", "region"))
        return [
            stop_record(
                stop,
                place,
                named=exact or stop.row.level == OPEN,
                region=regions[stop.row.route],
            )
            for stop, place in places_of(self.program, exact=exact)
        ]


class StopRecordsGeoJson(StopRecords):
    @extend_schema(
        operation_id="records_stops_geojson",
        parameters=[PlacesFilterSerializer],
        responses={200: FeatureCollectionSerializer, **ERRORS},
    )
    def get(self, request: Request, program: str) -> Response:
        """The same stops as GeoJSON; `geometry` is null where a place is withheld."""
        return Response(
            {"type": "FeatureCollection", "features": [_feature(stop) for stop in self.stops()]}
        )


class RouteRecords(_Records):
    filter_serializer = PlacesFilterSerializer

    @extend_schema(
        operation_id="records_routes",
        parameters=[PlacesFilterSerializer],
        responses={200: RouteRecordSerializer(many=True), **ERRORS},
    )
    def get(self, request: Request, program: str) -> Response:
        """Every route, with the middle of its stops as far as the program shares their places."""
        exact = self.requests_exact_places(self.filters(), gettext("Routes"))
        return Response(route_records(self.program, exact=exact))


class _ByParameter(BaseContentNegotiation):
    """The format is a parameter of the export; the Accept header is ignored."""

    def select_renderer(
        self, request: Request, renderers: list[Any], format_suffix: str | None = None
    ) -> tuple[Any, str]:
        return renderers[0], renderers[0].media_type


class ExportCalls(_Records):
    filter_serializer = ExportFilterSerializer
    content_negotiation_class = _ByParameter
    renderer_classes = [JSONRenderer]

    @extend_schema(
        operation_id="records_calls_export",
        parameters=[ExportFilterSerializer],
        responses={
            (200, "text/csv"): OpenApiTypes.STR,
            (200, "application/x-ndjson"): OpenApiTypes.STR,
            (200, "application/vnd.apache.parquet"): OpenApiTypes.BINARY,
            **ERRORS,
        },
    )
    def get(self, request: Request, program: str) -> StreamingHttpResponse:
        """All call records at once, as a stream of any length: CSV, JSON lines or Parquet."""
        filters = self.filters()
        export_format = EXPORT_FORMATS[filters["format"]]
        selection = self.selection(filters)
        what = said(
            "Export of call records, {export_format_name}", export_format_name=export_format.name
        )
        exact = self.requests_exact_places(filters, what)
        rows = statement(self.program, CALLS, selection, exact=exact)
        name = f"{self.program.slug}-calls-{timezone.now():%Y-%m-%d}.{export_format.ending}"
        return StreamingHttpResponse(
            export_format.write(CALLS, rows),
            content_type=export_format.media_type,
            headers={
                "Content-Disposition": f'attachment; filename="{name}"',
            },
        )


def _feature(stop: dict[str, Any]) -> dict[str, Any]:
    properties = dict(stop)
    latitude, longitude = properties.pop("latitude"), properties.pop("longitude")
    geometry = None
    if latitude is not None:
        geometry = {"type": "Point", "coordinates": [longitude, latitude]}
    return {"type": gettext("Feature"), "geometry": geometry, "properties": properties}
