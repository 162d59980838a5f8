"""Photos of sightings on a sheet, and of the sheet itself."""

from uuid import UUID

from django.contrib import messages
from django.http import HttpResponseBase
from django.shortcuts import redirect
from django.views.decorators.http import require_http_methods

from accounts.access import (
    Permission,
    ProgramRequest,
    needs,
)
from surveys.language import gettext
from surveys.ranges import serve_file
from surveys.visits.exceptions import (
    PhotoRefused,
    VisitError,
)
from surveys.visits.media.photos import (
    find_photo,
    remove_photo,
    store_photo,
)


@require_http_methods(["GET", "POST"])
@needs(Permission.SURVEY)
def photo(request: ProgramRequest, visit_id: UUID, row: int) -> HttpResponseBase:
    """Show a row's photo to members who may read the visit (GET); let the observer store or
    remove it (POST)."""
    if request.method == "GET":
        stored = find_photo(request.membership, visit_id, row=row)
        return serve_file(
            request, stored.image, etag=f'"{stored.sha256}"', content_type="image/jpeg"
        )
    try:
        if "remove" in request.POST:
            remove_photo(request.membership, visit_id, row=row)
            messages.success(request, gettext("Photo removed."))
        elif "photo" in request.FILES:
            store_photo(request.membership, visit_id, row=row, upload=request.FILES["photo"])
            messages.success(request, gettext("Photo saved, without its location."))
        else:
            raise PhotoRefused(gettext("Choose a picture first."))
    except VisitError as error:
        messages.error(request, str(error))
    return redirect("web:sheet", program=request.membership.program.slug, visit_id=visit_id)
