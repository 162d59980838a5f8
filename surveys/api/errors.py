"""Error responses of the API: always a sentence, and where the problem is when that is known."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.conf import settings
from rest_framework import status
from rest_framework.exceptions import Throttled, ValidationError
from rest_framework.response import Response
from rest_framework.views import exception_handler

from surveys.api.serializers.findings import finding_data
from surveys.api.serializers.visits import visit_data
from surveys.language import said
from surveys.publishing.exceptions import (
    AlreadyUnderWay,
    PublishingError,
    TableChanged,
)
from surveys.visits.exceptions import (
    ChecksumMismatch,
    DraftDiscarded,
    NoRoomLeft,
    NotConfirmable,
    OffsetMismatch,
    QueriesOpen,
    ReasonMissing,
    RecordingDamaged,
    RecordingNotScanned,
    RecordingRefused,
    RecordingTooLarge,
    ReviewBegun,
    StaleRevision,
    VisitError,
    VisitRefused,
    WrongState,
)

_UNAVAILABLE = status.HTTP_503_SERVICE_UNAVAILABLE
# The phone sends nothing of a recording meanwhile.
_SCANNED_AGAIN_S = 60
_STATUS: Mapping[type[Exception], int] = {
    StaleRevision: status.HTTP_409_CONFLICT,
    WrongState: status.HTTP_409_CONFLICT,
    ReviewBegun: status.HTTP_409_CONFLICT,
    TableChanged: status.HTTP_409_CONFLICT,
    AlreadyUnderWay: status.HTTP_409_CONFLICT,
    OffsetMismatch: status.HTTP_409_CONFLICT,
    RecordingDamaged: status.HTTP_409_CONFLICT,
    VisitRefused: status.HTTP_422_UNPROCESSABLE_ENTITY,
    NotConfirmable: status.HTTP_422_UNPROCESSABLE_ENTITY,
    QueriesOpen: status.HTTP_422_UNPROCESSABLE_ENTITY,
    RecordingRefused: status.HTTP_422_UNPROCESSABLE_ENTITY,
    RecordingNotScanned: _UNAVAILABLE,
    NoRoomLeft: status.HTTP_507_INSUFFICIENT_STORAGE,
    RecordingTooLarge: status.HTTP_413_REQUEST_ENTITY_TOO_LARGE,
    # Defined by the tus protocol, not by HTTP.
    ChecksumMismatch: 460,
}


def explain(exception: Exception, context: dict[str, Any]) -> Response | None:
    """The exception handler of the API.

    Responds with `detail` and, depending on the error, with `where`, `findings`, or `visit`:
    the server's copy that a stale write did not overwrite.
    """
    if isinstance(exception, (VisitError, PublishingError)):
        code = _STATUS.get(type(exception), status.HTTP_400_BAD_REQUEST)
        headers = {"Retry-After": str(_SCANNED_AGAIN_S)} if code == _UNAVAILABLE else {}
        data = {"detail": str(exception), **_extra_fields(exception, context)}
        return Response(data, status=code, headers=headers)
    response = exception_handler(exception, context)
    if response is not None and isinstance(exception, DraftDiscarded):
        response.status_code = status.HTTP_410_GONE
        gone_since = exception.discarded_at.isoformat()
        response.data = {"detail": str(exception), "discarded_at": gone_since}
    if response is not None and isinstance(exception, ValidationError):
        where, detail = _first_problem(exception.detail)
        response.data = {"detail": detail, "where": where}
    if response is not None and isinstance(exception, Throttled):
        response.data = {
            "detail": said(
                "That was more than {api_requests_an_hour} requests in an hour. Try again in "
                "{wait} seconds; the header Retry-After says so, too.",
                api_requests_an_hour=settings.API_REQUESTS_AN_HOUR,
                wait=f"{exception.wait:.0f}",
            )
        }
    return response


def _extra_fields(exception: Exception, context: dict[str, Any]) -> dict[str, Any]:
    if isinstance(exception, (StaleRevision, WrongState)):
        return {"visit": visit_data(context["request"].membership, exception.visit)}
    if isinstance(exception, (VisitRefused, QueriesOpen)):
        return {"findings": [finding_data(finding) for finding in exception.findings]}
    if isinstance(exception, ReasonMissing):
        return {"where": "reason"}
    return {}


def _first_problem(problems: Any, where: str = "") -> tuple[str, str]:
    """Field and message of the first problem: `cells.notes`, `This field is required.`"""
    if isinstance(problems, Mapping):
        name, inner = next(iter(problems.items()))
        if name == "non_field_errors":
            return _first_problem(inner, where)
        return _first_problem(inner, f"{where}.{name}" if where else str(name))
    if isinstance(problems, list):
        return _first_problem(next((problem for problem in problems if problem), ""), where)
    return where, str(problems)
