"""A published file over HTTP. It never changes, so whoever has it may keep it for good."""

from django.http import HttpRequest, HttpResponseBase, StreamingHttpResponse
from django.utils.cache import get_conditional_response

from surveys.models import Audience, PublicationFile
from surveys.publishing.files import download_name, open_file

A_YEAR = 365 * 24 * 3600


def file_response(
    request: HttpRequest, file: PublicationFile, *, public: bool = False
) -> HttpResponseBase:
    """The file, piece by piece, or 304 for who has it. `public`: shared caches may keep it."""
    etag = f'"{file.sha256}"'
    kept = f"{'public' if public else 'private'}, max-age={A_YEAR}, immutable"
    if file.audience == Audience.EXACT:
        # Each download is noted, so none may come out of a cache.
        kept = "private, no-store"
    else:
        unchanged = get_conditional_response(request, etag=etag)
        if unchanged is not None:
            unchanged["Cache-Control"] = kept
            return unchanged
    return StreamingHttpResponse(
        () if request.method == "HEAD" else open_file(file),
        content_type=file.media_type,
        headers={
            "Content-Disposition": f'attachment; filename="{download_name(file)}"',
            "Content-Length": str(file.bytes),
            "Cache-Control": kept,
            "ETag": etag,
        },
    )
