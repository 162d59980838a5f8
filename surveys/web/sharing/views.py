"""Sharing of data: settings, the link to publications, and downloads of exact places."""

from collections import Counter
from typing import Any

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from accounts.access import (
    Permission,
    ProgramRequest,
    needs,
)
from surveys.language import gettext
from surveys.models import (
    ExactDownload,
    Program,
    PublicationAudience,
    Sensitivity,
)
from surveys.programs.sharing import (
    change_sharing,
    renew_link,
    sharing_facts,
)
from surveys.programs.versions import units_of
from surveys.protocol.values import DistanceUnit
from surveys.protocol.words import distance
from surveys.publishing.exact import exact_downloads
from surveys.publishing.formats import yearly_csv as csv
from surveys.publishing.places import share_place
from surveys.publishing.stops import (
    SharedStop,
    shared_stops,
)
from surveys.web.csv_file import csv_file
from surveys.web.forms.refusals import run_verb
from surveys.web.publications.warning import warn_of_too_exact
from surveys.web.sharing.forms import SharingForm

DOWNLOADS_PER_PAGE = 50
DOWNLOADS_HEADER = ("at", "person", "email", "what", "path", "token")


@require_http_methods(["GET", "POST"])
@needs(Permission.MANAGE)
def sharing(request: ProgramRequest) -> HttpResponse:
    program = request.membership.program
    form = SharingForm(request.POST if request.method == "POST" else None, program=program)
    form.show(sharing_facts(program))
    if (
        request.method == "POST"
        and form.is_valid()
        and run_verb(form, change_sharing, request.membership, seen=form.seen, **form.cleaned_data)
    ):
        messages.success(request, gettext("Sharing settings saved."))
        warn_of_too_exact(request)
        return redirect("web:sharing", program=program.slug)
    stops = list(shared_stops(program).values())
    context = {
        "section": "sharing",
        "form": form,
        "link": published_link(request, program),
        "by_link": program.publication_audience == PublicationAudience.LINK,
        "example": stops[0] if stops else None,
        "levels": _levels(stops, units_of(program).distance),
    }
    status = 422 if form.errors else 200
    return render(request, "sharing/sharing.html", context, status=status)


def published_link(request: ProgramRequest, program: Program) -> str:
    """The public URL of the publications; empty when only members may see them."""
    if program.publication_audience == PublicationAudience.PUBLIC:
        path = reverse("web:published", kwargs={"program": program.slug})
    elif program.publication_audience == PublicationAudience.LINK:
        path = reverse(
            "web:published_by_link",
            kwargs={"program": program.slug, "key": program.publication_key},
        )
    else:
        return ""
    return request.build_absolute_uri(path)


def _levels(stops: list[SharedStop], unit: DistanceUnit) -> list[dict[str, Any]]:
    """For each level of sharing: the first stop as a reader sees it, and the number of routes."""
    level_of = {stop.row.route_id: stop.row.level for stop in stops}
    routes = Counter(level_of.values())
    rows = []
    for level in Sensitivity:
        place = share_place(stops[0].row.latitude, stops[0].row.longitude, level) if stops else None
        within = place.uncertainty_m if place else None
        rows.append(
            {
                "name": level.label,
                "place": place,
                "within": distance(within, unit) if within else "–",
                "named": level == Sensitivity.OPEN,
                "routes": routes[level],
            }
        )
    return rows


@require_POST
@needs(Permission.MANAGE)
def renew(request: ProgramRequest) -> HttpResponse:
    renew_link(request.membership)
    messages.success(request, gettext("The link is new. The old link no longer works."))
    return redirect("web:sharing", program=request.membership.program.slug)


@require_GET
@needs(Permission.MANAGE)
def downloads(request: ProgramRequest) -> HttpResponse:
    """Who downloaded exact places, and when."""
    rows = exact_downloads(request.membership.program)
    context = {
        "section": "sharing",
        "page_obj": Paginator(rows, DOWNLOADS_PER_PAGE).get_page(request.GET.get("page")),
        "may_have": request.membership.program.memberships.select_related("person").filter(
            active=True, exact_places=True
        ),
    }
    return render(request, "sharing/downloads.html", context)


@require_GET
@needs(Permission.MANAGE)
def downloads_csv(request: ProgramRequest) -> HttpResponse:
    program = request.membership.program
    text = csv.to_csv(DOWNLOADS_HEADER, map(_download_row, exact_downloads(program).iterator()))
    name = f"{program.slug}-exact-places-{timezone.now():%Y-%m-%d}.csv"
    return csv_file(text, name)


def _download_row(download: ExactDownload) -> tuple[str, ...]:
    at = download.at.isoformat(timespec="seconds").replace("+00:00", "Z")
    texts = (
        download.person.name,
        download.person.email,
        download.what,
        download.path,
        download.by_token,
    )
    return (at, *map(csv.guard, texts))
