"""A published file over HTTP. It never changes, so whoever has it may keep it for good."""

from collections.abc import Iterator

from django.http import HttpRequest, HttpResponseBase

from surveys.models import (
    Audience,
    PublicationFile,
)
from surveys.publishing.files import (
    download_name,
    open_part,
)
from surveys.ranges import (
    ByteRange,
    serve,
)

A_YEAR = 365 * 24 * 3600


def file_response(
    request: HttpRequest, file: PublicationFile, *, public: bool = False
) -> HttpResponseBase:
    """The file or the part that is asked for, piece by piece, or 304 for who has it. `public`:
    shared caches may keep it."""

    def blocks(part: ByteRange) -> Iterator[bytes]:
        return open_part(file, part.first, part.last)

    response = serve(
        request, blocks, size=file.bytes, etag=f'"{file.sha256}"', content_type=file.media_type
    )
    response["Content-Disposition"] = f'attachment; filename="{download_name(file)}"'
    kept = f"{'public' if public else 'private'}, max-age={A_YEAR}, immutable"
    # Each download of exact places is noted, so none may come out of a cache.
    response["Cache-Control"] = "private, no-store" if file.audience == Audience.EXACT else kept
    return response
