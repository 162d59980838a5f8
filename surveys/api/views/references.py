"""Reference calls: what is known of each, and its sound."""

import uuid

from django.http import HttpResponseBase
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.access import Permission, may
from surveys.api.base import Paging, ProgramView
from surveys.api.describing import ERRORS, READ_ERRORS
from surveys.api.serializers.references import ReferenceCallSerializer, ReferenceFilterSerializer
from surveys.ranges import serve_file
from surveys.visits.media.references import MEDIA_TYPE, find_reference, heard_references


class _References(ProgramView):
    """Also for a token that opens records; but not for partners, who hear no recordings."""

    @property
    def permission(self) -> Permission:
        is_for_records = self.token is not None and may(self.member, Permission.READ_SEASONS)
        return Permission.READ_RECORDS if is_for_records else Permission.READ_SEASONS


class ReferenceCalls(_References):
    pagination_class = Paging
    filter_serializer = ReferenceFilterSerializer

    @extend_schema(
        parameters=[ReferenceFilterSerializer],
        responses={200: ReferenceCallSerializer(many=True), **ERRORS},
    )
    def get(self, request: Request, program: str) -> Response:
        """Reference calls that the program keeps, or those of one `species`, with license and
        consent. One whose recording is no longer confirmed is left out."""
        rows = heard_references(self.member)
        if species := self.filters().get("species"):
            rows = rows.filter(species__code=species)
        return self.paged(rows, ReferenceCallSerializer)


class ReferenceCallSound(_References):
    @extend_schema(
        responses={
            (200, MEDIA_TYPE): OpenApiTypes.BINARY,
            (206, MEDIA_TYPE): OpenApiTypes.BINARY,
            **READ_ERRORS,
        }
    )
    def get(self, request: Request, program: str, reference_id: uuid.UUID) -> HttpResponseBase:
        """The sound of a reference call, or the part that `Range` asks for."""
        reference = find_reference(self.member, reference_id)
        etag = f'"{reference.pk}"'
        return serve_file(request, reference.audio, etag=etag, content_type=MEDIA_TYPE)
