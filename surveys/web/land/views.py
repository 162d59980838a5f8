"""The map files, in the parts that browsers ask for."""

from django.http import Http404, HttpRequest, HttpResponseBase
from django.views.decorators.http import require_safe

from surveys.land.files import map_file as found_file
from surveys.language import gettext
from surveys.ranges import serve_path

_MEDIA_TYPE = "application/vnd.pmtiles"
_YEAR_S = 365 * 24 * 60 * 60


@require_safe
def map_file(request: HttpRequest, name: str) -> HttpResponseBase:
    """The file of that name, whole or in a range. A URL that names its version may be kept for a
    year; the file is the same for everybody."""
    file = found_file(name)
    if file is None:
        raise Http404(gettext("This site has no map file of its own."))
    response = serve_path(
        request, file.path, size=file.size, etag=f'"{file.version}"', content_type=_MEDIA_TYPE
    )
    is_current = request.GET.get("v") == file.version
    response["Cache-Control"] = (
        f"private, max-age={_YEAR_S}, immutable" if is_current else "private, no-store"
    )
    return response
