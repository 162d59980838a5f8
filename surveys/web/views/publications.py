"""Publications: the list, one publication, its files, and publishing a new one."""

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.utils.cache import get_conditional_response
from django.views.decorators.http import require_GET, require_http_methods

from accounts.access import Permission, ProgrammeRequest, may, needs
from surveys.models import Publication
from surveys.publishing import csv
from surveys.publishing.closing import open_visits
from surveys.publishing.exceptions import PublishingError
from surveys.publishing.files import file_of, files_of
from surveys.publishing.method import citation
from surveys.publishing.publish import Preview, preview
from surveys.publishing.publish import publish as publish_table
from surveys.seasons.route_years import season_years
from surveys.web.forms.publications import PublishForm
from surveys.web.views.trends import table_context

A_PAGE = 50
OPEN_SHOWN = 25
A_YEAR = 365 * 24 * 3600


@require_GET
@needs(Permission.READ_RESULTS)
def publications(request: ProgrammeRequest) -> HttpResponse:
    member = request.membership
    found = member.programme.publications.defer("table_csv", "dictionary_csv", "method")
    newest: dict[int, int] = {}
    page = Paginator(found, A_PAGE).get_page(request.GET.get("page"))
    for year, version in found.order_by().values_list("season_year", "version"):
        newest[year] = max(version, newest.get(year, 0))
    return render(
        request,
        "web/publications/publications.html",
        {
            "page_obj": page,
            "rows": [(one, newest[one.season_year]) for one in page],
            "may_publish": may(member, Permission.MANAGE),
        },
    )


@require_GET
@needs(Permission.READ_RESULTS)
def publication(request: ProgrammeRequest, season_year: int, version: int) -> HttpResponse:
    found = _publication_or_404(request, season_year, version)
    header, rows = csv.from_csv(found.table_csv)
    return render(
        request,
        "web/publications/publication.html",
        {
            "publication": found,
            "newest": request.membership.programme.publications.filter(
                season_year=season_year
            ).values_list("version", flat=True)[0],
            "files": files_of(found),
            "citation": citation(found),
            **table_context(header, rows),
            "show_names": may(request.membership, Permission.READ_SEASONS),
        },
    )


@require_GET
@needs(Permission.READ_RESULTS)
def publication_file(
    request: ProgrammeRequest, season_year: int, version: int, kind: str
) -> HttpResponse:
    """A frozen file. It never changes, so a browser may keep it for good."""
    file = file_of(_publication_or_404(request, season_year, version), kind)
    if file is None:
        raise Http404("This publication has no such file.")
    etag = f'"{file.sha256}"'
    response = HttpResponse(
        file.content,
        content_type=file.media_type,
        headers={
            "Content-Disposition": f'attachment; filename="{file.name}"',
            "Cache-Control": f"private, max-age={A_YEAR}, immutable",
            "ETag": etag,
        },
    )
    return get_conditional_response(request, etag=etag, response=response)


@require_http_methods(["GET", "POST"])
@needs(Permission.MANAGE)
def publish(request: ProgrammeRequest) -> HttpResponse:
    """Choose a season year, look at what would be frozen, publish it."""
    member = request.membership
    years = season_years(member.programme)
    if not years:
        return render(request, "web/publications/publish.html", {"years": []})
    season_year = _chosen_year(request, years)
    found = preview(member.programme, season_year)
    waiting = open_visits(member.programme, season_year)
    open_count = waiting.count()
    form = PublishForm(
        request.POST if request.method == "POST" else None,
        initial={"seen": found.sha256},
        preview=found,
        open_count=open_count,
    )
    if request.method == "POST" and form.is_valid():
        published = _publish(request, form, found)
        if published:
            messages.success(request, f"Version {published.version} is published.")
            return redirect(
                "web:publication",
                programme=member.programme.slug,
                season_year=published.season_year,
                version=published.version,
            )
    return render(
        request,
        "web/publications/publish.html",
        {
            "years": years,
            "season_year": season_year,
            "preview": found,
            "possible": season_year in found.years and found.differs,
            "form": form,
            "waiting": waiting[:OPEN_SHOWN],
            "open_count": open_count,
            "not_shown": max(0, open_count - OPEN_SHOWN),
        },
        status=422 if form.errors else 200,
    )


def _publish(request: ProgrammeRequest, form: PublishForm, found: Preview) -> Publication | None:
    """Publish, or put the refusal on the form. What was typed stays; `seen` is renewed."""
    data = form.cleaned_data
    try:
        return publish_table(
            request.membership, found.season_year, data.get("reason", ""), seen=data["seen"]
        )
    except PublishingError as refusal:
        form.add_error(None, str(refusal))
        form.data = form.data.copy()
        form.data["seen"] = found.sha256
        return None


def _chosen_year(request: ProgrammeRequest, years: tuple[int, ...]) -> int:
    asked = request.POST.get("year") or request.GET.get("year") or ""
    year = int(asked) if asked.isascii() and asked.isdigit() and len(asked) == 4 else years[-1]
    return year if year in years else years[-1]


def _publication_or_404(request: ProgrammeRequest, season_year: int, version: int) -> Publication:
    found = (
        request.membership.programme.publications.select_related("programme", "published_by")
        .filter(season_year=season_year, version=version)
        .first()
    )
    if found is None:
        raise Http404("There is no such publication in this programme.")
    return found
