"""A published file over HTTP. It never changes, but it may be withdrawn: a cache that keeps it
asks again within the hour, and only what everybody may read is kept."""

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

AN_HOUR = 3600


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
    # Each download of exact places is noted, so none may come out of a cache.
    if public and file.audience == Audience.OPEN:
        response["Cache-Control"] = f"public, max-age={AN_HOUR}, must-revalidate"
    return response
