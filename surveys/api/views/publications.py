"""Publications: the list, one version, its files, and a request for a new one."""

from django.http import Http404, HttpResponseBase
from django.utils.translation import gettext_lazy
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema
from rest_framework import status
from rest_framework.exceptions import APIException
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.access import (
    Permission,
    may_have_exact_places,
)
from surveys.api.base import (
    Paging,
    ProgramView,
)
from surveys.api.describing import (
    ERRORS,
    READ_ERRORS,
)
from surveys.api.serializers.errors import ProblemSerializer
from surveys.api.serializers.publications import (
    PublicationRowSerializer,
    PublicationSerializer,
    PublishingRunSerializer,
    PublishSerializer,
)
from surveys.language import gettext
from surveys.models import (
    Audience,
    Publication,
    RunKind,
)
from surveys.publishing.exact import note_exact_download
from surveys.publishing.files import (
    file_of,
    files_of,
)
from surveys.publishing.publish import request_publication
from surveys.publishing.serving import file_response


class PublicationWithdrawn(APIException):
    status_code = status.HTTP_410_GONE
    default_detail = gettext_lazy("This publication was withdrawn. Its files are deleted.")


class _Publications(ProgramView):
    permission = Permission.READ_RESULTS

    @property
    def exact(self) -> bool:
        return may_have_exact_places(self.member, self.token)

    def get_serializer_context(self) -> dict[str, object]:
        return {**super().get_serializer_context(), "member": self.member}

    def publication(self, season_year: int, version: int) -> Publication:
        publication = (
            self.program.publications.filter(season_year=season_year, version=version)
            .select_related("program", "published_by", "withdrawal")
            .first()
        )
        if publication is None:
            raise Http404(gettext("There is no such publication in this program."))
        return publication


class Publications(_Publications):
    pagination_class = Paging
    serializer_class = PublicationRowSerializer

    @property
    def permission(self) -> Permission:
        is_post = self.request.method == "POST"
        return Permission.PUBLISH if is_post else Permission.READ_RESULTS

    @extend_schema(
        operation_id="publications_list",
        responses={200: PublicationRowSerializer(many=True), **READ_ERRORS},
    )
    def get(self, request: Request, program: str) -> Response:
        """Every published version, latest season year first."""
        rows = self.program.publications.select_related("published_by", "withdrawal").defer(
            "method"
        )
        page = self.paginate_queryset(rows.defer("method").order_by("-season_year", "-version"))
        return self.get_paginated_response(self.get_serializer(page, many=True).data)

    @extend_schema(
        request=PublishSerializer,
        responses={202: PublishingRunSerializer, **ERRORS, 409: ProblemSerializer},
    )
    def post(self, request: Request, program: str) -> Response:
        """Have the worker freeze every season year up to one as a new version.

        The answer is the run that makes it; ask for it again until it is done.
        """
        data = self.body(PublishSerializer)
        run = request_publication(
            self.member,
            data["season_year"],
            data["reason"],
            seen=data["seen"],
            site_url=request.build_absolute_uri("/"),
        )
        return Response(PublishingRunSerializer(run).data, status=status.HTTP_202_ACCEPTED)


class PublishingRunDetail(ProgramView):
    permission = Permission.PUBLISH

    @extend_schema(responses={200: PublishingRunSerializer, **READ_ERRORS})
    def get(self, request: Request, program: str, run_id: int) -> Response:
        """How far a publication that was asked for has come."""
        run = self.program.runs.filter(kind=RunKind.PUBLISH, pk=run_id).first()
        if run is None:
            raise Http404(gettext("There is no such run in this program."))
        return Response(PublishingRunSerializer(run).data)


class PublicationDetail(_Publications):
    @extend_schema(responses={200: PublicationSerializer, **READ_ERRORS})
    def get(self, request: Request, program: str, season_year: int, version: int) -> Response:
        """One published version with its method and its files."""
        publication = self.publication(season_year, version)
        files = files_of(publication, exact=self.exact).select_related("publication__program")
        context = {**self.get_serializer_context(), "files": files}
        return Response(PublicationSerializer(publication, context=context).data)


class PublicationFile(_Publications):
    @extend_schema(
        responses={
            (200, "application/octet-stream"): OpenApiTypes.BINARY,
            (206, "application/octet-stream"): OpenApiTypes.BINARY,
            **READ_ERRORS,
            410: ProblemSerializer,
        }
    )
    def get(
        self, request: Request, program: str, season_year: int, version: int, kind: str
    ) -> HttpResponseBase:
        """A file of a published version, or the part that `Range` asks for. It never changes."""
        publication = self.publication(season_year, version)
        if publication.withdrawn:
            raise PublicationWithdrawn
        file = file_of(publication, kind, exact=self.exact)
        if file is None:
            raise Http404(gettext("This publication has no such file."))
        if file.audience == Audience.EXACT:
            note_exact_download(
                self.member, what=f"{publication.title}: {kind}", path=request.path,
                token=self.token,
            )  # fmt: skip
        return file_response(request, file)
