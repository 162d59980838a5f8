"""Seasons, trends and publications."""

import dataclasses

from django.http import Http404
from drf_spectacular.utils import extend_schema
from rest_framework import status
from rest_framework.exceptions import ValidationError
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.access import Permission
from surveys.api.base import Paging, ProgrammeView
from surveys.api.describing import ERRORS, READ_ERRORS
from surveys.api.serializers.errors import ProblemSerializer
from surveys.api.serializers.results import (
    CoverageFilterSerializer,
    CoverageSerializer,
    PublicationRowSerializer,
    PublicationSerializer,
    PublishSerializer,
    ResultFilterSerializer,
    RouteYearsSerializer,
    TrendsSerializer,
)
from surveys.models import Species
from surveys.publishing.publish import publish
from surveys.seasons.coverage import coverage
from surveys.seasons.options import checklist_species
from surveys.seasons.route_years import route_years
from surveys.seasons.yearly import yearly_table
from surveys.trends.columns import COLUMNS
from surveys.trends.table import row_values


class _Results(ProgrammeView):
    def wanted(self) -> dict[str, object]:
        """The filters as the tables take them, the species as a row."""
        wanted = self.filters(ResultFilterSerializer)
        if "species" in wanted:
            wanted["species"] = self._species(wanted["species"])
        return wanted

    def _species(self, code: str) -> Species:
        for species in checklist_species(self.programme):
            if species.code == code:
                return species
        raise ValidationError({"species": f"{code} is not a species of the checklist."})


class RouteYears(_Results):
    permission = Permission.READ_SEASONS

    @extend_schema(
        parameters=[ResultFilterSerializer], responses={200: RouteYearsSerializer, **ERRORS}
    )
    def get(self, request: Request, programme: str) -> Response:
        """Routes × season years: what was heard, the effort, and the gaps."""
        return Response(RouteYearsSerializer(route_years(self.programme, **self.wanted())).data)


class SeasonCoverage(_Results):
    permission = Permission.READ_SEASONS

    @extend_schema(
        parameters=[CoverageFilterSerializer], responses={200: CoverageSerializer, **ERRORS}
    )
    def get(self, request: Request, programme: str) -> Response:
        """Routes × windows of a season year: done, in review, due or missed."""
        table = coverage(self.programme, **self.filters(CoverageFilterSerializer))
        return Response(CoverageSerializer(table).data)


class Trends(_Results):
    permission = Permission.READ_RESULTS

    @extend_schema(parameters=[ResultFilterSerializer], responses={200: TrendsSerializer, **ERRORS})
    def get(self, request: Request, programme: str) -> Response:
        """The yearly table with the meaning of its columns."""
        rows = yearly_table(self.programme, **self.wanted())
        return Response(
            {
                "columns": [dataclasses.asdict(column) for column in COLUMNS],
                "rows": [row_values(row) for row in rows],
            }
        )


class Publications(ProgrammeView):
    pagination_class = Paging
    serializer_class = PublicationRowSerializer

    @property
    def permission(self) -> Permission:
        publishing = self.request.method == "POST"
        return Permission.MANAGE if publishing else Permission.READ_RESULTS

    @extend_schema(
        operation_id="publications_list",
        responses={200: PublicationRowSerializer(many=True), **READ_ERRORS},
    )
    def get(self, request: Request, programme: str) -> Response:
        """Every published version, latest season year first."""
        rows = self.programme.publications.select_related("published_by")
        return self.paged(rows.order_by("-season_year", "-version"), PublicationRowSerializer)

    @extend_schema(
        request=PublishSerializer,
        responses={201: PublicationSerializer, **ERRORS, 409: ProblemSerializer},
    )
    def post(self, request: Request, programme: str) -> Response:
        """Freeze the table up to a season year as a new version."""
        wanted = self.body(PublishSerializer)
        publication = publish(
            self.member, wanted["season_year"], wanted["reason"], seen=wanted["seen"]
        )
        return Response(PublicationSerializer(publication).data, status=status.HTTP_201_CREATED)


class PublicationDetail(ProgrammeView):
    permission = Permission.READ_RESULTS

    @extend_schema(responses={200: PublicationSerializer, **READ_ERRORS})
    def get(self, request: Request, programme: str, season_year: int, version: int) -> Response:
        """One published version with its table, dictionary and method."""
        publication = self.programme.publications.filter(
            season_year=season_year, version=version
        ).first()
        if publication is None:
            raise Http404("There is no such publication in this programme.")
        return Response(PublicationSerializer(publication).data)
