"""Uploads of recordings by the tus resumable upload protocol 1.0.0. Every change is a verb
of surveys.visits.media.recordings."""

import hashlib
import hmac
import tempfile
import uuid
from collections.abc import Iterator
from typing import Any, BinaryIO

from django.http import HttpRequest, UnreadablePostError
from django.urls import reverse
from django.utils.http import http_date
from django.utils.translation import gettext_lazy
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import status
from rest_framework.exceptions import APIException, ValidationError
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.access import Permission
from surveys.api.base import ProgramView
from surveys.api.describing import ERRORS
from surveys.api.serializers.errors import ProblemSerializer
from surveys.api.tus import (
    PIECE_TYPE,
    SERVER_HEADERS,
    VERSION,
    HeaderError,
    read_announcement,
    read_checksum,
    read_count,
)
from surveys.models import (
    Recording,
    RecordingState,
)
from surveys.visits.exceptions import ChecksumMismatch
from surveys.visits.media.recordings import (
    add_piece,
    assemble_recording,
    begin_recording,
    check_piece,
    expires_at,
    find_upload,
    remove_recording,
)

_BLOCK = 64 * 1024
_IN_MEMORY = 1024 * 1024


class WrongTusVersion(APIException):
    status_code = status.HTTP_412_PRECONDITION_FAILED
    default_detail = f"Send the header Tus-Resumable: {VERSION}."


class WrongContentType(APIException):
    status_code = status.HTTP_415_UNSUPPORTED_MEDIA_TYPE
    default_detail = f"Send a piece with Content-Type: {PIECE_TYPE}."


class ContentLengthMissing(APIException):
    status_code = status.HTTP_411_LENGTH_REQUIRED
    default_detail = gettext_lazy("Send a piece with Content-Length.")


def _header(name: str, description: str, *, required: bool = True) -> OpenApiParameter:
    return OpenApiParameter(
        name=name,
        type=OpenApiTypes.STR,
        location=OpenApiParameter.HEADER,
        required=required,
        description=description,
    )


RESUMABLE = _header("Tus-Resumable", f"Version of the protocol: {VERSION}.")
PROBLEMS = {**ERRORS, 412: ProblemSerializer}


class TusView(ProgramView):
    permission = Permission.SURVEY
    pagination_class = None

    def initialize_request(self, request: HttpRequest, *args: Any, **kwargs: Any) -> Request:
        # The protocol lets clients that cannot send PATCH or DELETE override POST.
        override = request.headers.get("X-HTTP-Method-Override", "").upper()
        if request.method == "POST" and override in ("PATCH", "DELETE"):
            request.method = override
        return super().initialize_request(request, *args, **kwargs)

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        super().initial(request, *args, **kwargs)
        if request.method != "OPTIONS" and request.headers.get("Tus-Resumable") != VERSION:
            raise WrongTusVersion

    def finalize_response(
        self, request: Request, response: Response, *args: Any, **kwargs: Any
    ) -> Response:
        response["Tus-Resumable"] = VERSION
        if response.status_code == status.HTTP_412_PRECONDITION_FAILED:
            response["Tus-Version"] = SERVER_HEADERS["Tus-Version"]
        return super().finalize_response(request, response, *args, **kwargs)

    def handle_exception(self, exc: Exception) -> Response:
        if isinstance(exc, HeaderError):
            exc = ValidationError({exc.header: str(exc)})
        return super().handle_exception(exc)

    @extend_schema(exclude=True)
    def options(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        return Response(status=status.HTTP_204_NO_CONTENT, headers=SERVER_HEADERS)


class Recordings(TusView):
    @extend_schema(
        parameters=[
            RESUMABLE,
            _header("Upload-Length", "Bytes of the whole recording."),
            _header(
                "Upload-Metadata",
                "Pairs of key and Base64: id and visit (UUIDs of your own making), kind (voucher "
                "or note), filetype (such as audio/webm), seconds, sha256 (of the whole, in hex), "
                "and where known stop (its number), species (its code) and recorded (an instant).",
            ),
        ],
        request=None,
        responses={
            201: None,
            **PROBLEMS,
            413: ProblemSerializer,
            422: ProblemSerializer,
            507: ProblemSerializer,
        },
    )
    def post(self, request: Request, program: str) -> Response:
        """Announce a recording of a visit of your own that has reached the server. Its pieces
        go to the address in `Location`. The same request again changes nothing."""
        recording = begin_recording(self.member, read_announcement(request.headers))
        place = reverse("api:recording", kwargs={"program": program, "recording_id": recording.pk})
        return Response(
            status=status.HTTP_201_CREATED, headers={"Location": place, **_expiry(recording)}
        )


class RecordingUpload(TusView):
    @extend_schema(
        operation_id="recording_progress",
        parameters=[RESUMABLE],
        responses={200: None, **PROBLEMS},
    )
    def head(self, request: Request, program: str, recording_id: uuid.UUID) -> Response:
        """How far the recording has come: `Upload-Offset` of `Upload-Length` bytes. An
        unfinished one may be gone after `Upload-Expires`: announce it again then."""
        recording = find_upload(self.member, recording_id)
        headers = {
            **_progress(recording),
            "Upload-Length": str(recording.bytes),
        }
        if recording.upload_metadata:
            headers["Upload-Metadata"] = recording.upload_metadata
        return Response(status=status.HTTP_200_OK, headers=headers)

    @extend_schema(
        parameters=[
            RESUMABLE,
            _header("Upload-Offset", "Where in the recording the piece begins."),
            _header(
                "Upload-Checksum",
                "`sha256` or `sha1`, a space, and the Base64 of the piece’s checksum.",
                required=False,
            ),
        ],
        request={PIECE_TYPE: OpenApiTypes.BINARY},
        responses={
            204: None,
            **PROBLEMS,
            409: ProblemSerializer,
            411: ProblemSerializer,
            413: ProblemSerializer,
            415: ProblemSerializer,
            422: ProblemSerializer,
            460: ProblemSerializer,
            503: ProblemSerializer,
            507: ProblemSerializer,
        },
    )
    def patch(self, request: Request, program: str, recording_id: uuid.UUID) -> Response:
        """Add a piece where the last one ended. The last piece makes the recording complete:
        `Upload-Complete: ?1`."""
        recording = find_upload(self.member, recording_id)
        offset = read_count(request.headers, "Upload-Offset")
        checksum = read_checksum(request.headers.get("Upload-Checksum", ""))
        length = _length(request)
        check_piece(recording, offset=offset, length=length)
        with tempfile.SpooledTemporaryFile(max_size=_IN_MEMORY) as content:
            received = _receive(request, content, length, checksum)
            recording = add_piece(
                self.member, recording_id, offset=offset, content=content, length=received
            )
        if recording.received == recording.bytes:
            assemble_recording(recording_id)
            recording = find_upload(self.member, recording_id)
        return Response(status=status.HTTP_204_NO_CONTENT, headers=_progress(recording))

    @extend_schema(
        parameters=[RESUMABLE],
        responses={204: None, **PROBLEMS, 409: ProblemSerializer},
    )
    def delete(self, request: Request, program: str, recording_id: uuid.UUID) -> Response:
        """Take back a recording; a complete one only while its visit can be changed."""
        remove_recording(self.member, recording_id)
        return Response(status=status.HTTP_204_NO_CONTENT)


def _expiry(recording: Recording) -> dict[str, str]:
    """The header that says when an unfinished upload expires. It then answers 404, and the
    client starts over."""
    expires = expires_at(recording)
    return {"Upload-Expires": http_date(expires.timestamp())} if expires else {}


def _progress(recording: Recording) -> dict[str, str]:
    complete = recording.state == RecordingState.COMPLETE
    return {
        **_expiry(recording),
        "Upload-Offset": str(recording.received),
        # Not in tus: all bytes may have arrived while the whole is still unchecked. Name and
        # format are those of draft-ietf-httpbis-resumable-upload.
        "Upload-Complete": "?1" if complete else "?0",
    }


def _length(request: Request) -> int:
    if request.headers.get("Content-Type", "").split(";")[0].strip().lower() != PIECE_TYPE:
        raise WrongContentType
    if request.headers.get("Content-Length"):
        return read_count(request.headers, "Content-Length")
    if request.headers.get("Transfer-Encoding"):
        raise ContentLengthMissing
    return 0


def _receive(
    request: Request, content: BinaryIO, length: int, checksum: tuple[str, bytes] | None
) -> int:
    """Write the request body to `content`. Returns the number of bytes received.

    A truncated body is kept, unless it was sent with a checksum. Raises ChecksumMismatch.
    """
    algorithm, expected = checksum or ("sha256", b"")
    digest = hashlib.new(algorithm, usedforsecurity=False)
    received = 0
    for block in _read_blocks(request, length):
        content.write(block)
        digest.update(block)
        received += len(block)
    if checksum and not hmac.compare_digest(digest.digest(), expected):
        raise ChecksumMismatch
    return received


def _read_blocks(request: Request, length: int) -> Iterator[bytes]:
    remaining = length
    while remaining:
        try:
            block = request._request.read(min(_BLOCK, remaining))
        except UnreadablePostError:
            return
        if not block:
            return
        remaining -= len(block)
        yield block
