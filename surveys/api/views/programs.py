"""What a program surveys: its routes, protocol versions and checklist."""

import datetime as dt

from django.db.models import prefetch_related_objects
from django.http import Http404
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.access import Permission
from surveys.api.base import (
    Paging,
    ProgramView,
)
from surveys.api.describing import (
    ERRORS,
    READ_ERRORS,
)
from surveys.api.serializers.own_fields import OwnFieldSerializer
from surveys.api.serializers.places import (
    ChecklistEntrySerializer,
    FeatureCollectionSerializer,
    NightFilterSerializer,
    ProgramSerializer,
    RouteRowSerializer,
    RouteSerializer,
    feature_collection,
)
from surveys.api.serializers.protocols import ProtocolVersionSerializer
from surveys.language import gettext, said
from surveys.models import (
    ProtocolVersion,
    Route,
)
from surveys.programs.own_fields import own_fields_of
from surveys.programs.protocols import version_on
from surveys.seasons.coverage import tonight
from surveys.visits.loading import (
    checklist_on,
    stops_on,
)


class ProgramDetail(ProgramView):
    permission = Permission.READ_RESULTS

    @extend_schema(responses={200: ProgramSerializer, **READ_ERRORS})
    def get(self, request: Request, program: str) -> Response:
        """The program: zone, units, contact and local rules."""
        return Response(ProgramSerializer(self.program, context={"member": self.member}).data)


class Routes(ProgramView):
    permission = Permission.READ_SEASONS
    pagination_class = Paging
    serializer_class = RouteRowSerializer

    @extend_schema(operation_id="routes_list", responses={200: RouteRowSerializer(many=True)})
    def get(self, request: Request, program: str) -> Response:
        """The routes of the program, by code."""
        rows = self.program.routes.select_related("protocol").order_by("code")
        return self.paged(rows, RouteRowSerializer)


class _RouteView(ProgramView):
    permission = Permission.READ_SEASONS
    filter_serializer = NightFilterSerializer

    def route_or_404(self, code: str) -> Route:
        route = self.program.routes.select_related("protocol").filter(code=code).first()
        if route is None:
            raise Http404(said("There is no route {code} in this program.", code=code))
        return route

    def night(self) -> dt.date:
        return self.filters().get("night") or tonight(self.program)


class RouteDetail(_RouteView):
    @extend_schema(parameters=[NightFilterSerializer], responses={200: RouteSerializer, **ERRORS})
    def get(self, request: Request, program: str, code: str) -> Response:
        """A route with the stops and the protocol version of a night, tonight by default."""
        route, night = self.route_or_404(code), self.night()
        context = {
            "stops": list(stops_on(route, night).values()),
            "version": version_on(route.protocol, night),
        }
        return Response(RouteSerializer(route, context=context).data)


class RouteGeoJson(_RouteView):
    @extend_schema(
        parameters=[NightFilterSerializer],
        responses={200: FeatureCollectionSerializer, **ERRORS},
    )
    def get(self, request: Request, program: str, code: str) -> Response:
        """The stops and the line of a route as a GeoJSON feature collection."""
        route = self.route_or_404(code)
        stops = stops_on(route, self.night())
        return Response(feature_collection(route, list(stops.values())))


class ProtocolVersions(ProgramView):
    permission = Permission.READ_RESULTS
    pagination_class = Paging
    serializer_class = ProtocolVersionSerializer

    @extend_schema(
        operation_id="protocol_versions_list",
        responses={200: ProtocolVersionSerializer(many=True)},
    )
    def get(self, request: Request, program: str) -> Response:
        """Every version of the program's protocols."""
        rows = _versions(self).order_by("protocol__name", "number")
        return self.paged(rows, ProtocolVersionSerializer)


class ProtocolVersionDetail(ProgramView):
    permission = Permission.READ_RESULTS

    @extend_schema(responses={200: ProtocolVersionSerializer, **READ_ERRORS})
    def get(self, request: Request, program: str, version_id: int) -> Response:
        """One protocol version with its limits and season windows."""
        version = _versions(self).filter(pk=version_id).first()
        if version is None:
            raise Http404(gettext("There is no such protocol version in this program."))
        return Response(ProtocolVersionSerializer(version).data)


class Checklist(ProgramView):
    permission = Permission.READ_RESULTS
    filter_serializer = NightFilterSerializer

    @extend_schema(
        operation_id="checklist",
        parameters=[NightFilterSerializer],
        responses={200: ChecklistEntrySerializer(many=True), **ERRORS},
    )
    def get(self, request: Request, program: str) -> Response:
        """The species listened for on a night, tonight by default."""
        night = self.filters().get("night") or tonight(self.program)
        entries = checklist_on(self.program, night)
        prefetch_related_objects(entries, "species__members")
        return Response(ChecklistEntrySerializer(entries, many=True).data)


class OwnFields(ProgramView):
    permission = Permission.READ_RESULTS

    @extend_schema(
        operation_id="own_fields", responses={200: OwnFieldSerializer(many=True), **READ_ERRORS}
    )
    def get(self, request: Request, program: str) -> Response:
        """The fields that the program added to its sheets, in the order of the sheet."""
        return Response(OwnFieldSerializer(own_fields_of(self.program), many=True).data)


def _versions(view: ProgramView):
    return (
        ProtocolVersion.objects.filter(protocol__program=view.program)
        .select_related("protocol")
        .prefetch_related("windows")
    )
