"""Parts of the OpenAPI description that several views share."""

from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter

from surveys.api.serializers.errors import (
    ConflictSerializer,
    DiscardedSerializer,
    ProblemSerializer,
    RefusalSerializer,
)


def if_match(*, required: bool = True) -> OpenApiParameter:
    return OpenApiParameter(
        name="If-Match",
        type=OpenApiTypes.STR,
        location=OpenApiParameter.HEADER,
        required=required,
        description='The revision that was looked at, in quotes: "3".',
    )


READ_ERRORS = {
    401: ProblemSerializer,
    403: ProblemSerializer,
    404: ProblemSerializer,
    429: ProblemSerializer,
}
ERRORS = {400: ProblemSerializer, **READ_ERRORS}
CHANGE_ERRORS = {**ERRORS, 409: ConflictSerializer, 410: DiscardedSerializer}
REFUSABLE_ERRORS = {**CHANGE_ERRORS, 422: RefusalSerializer}
