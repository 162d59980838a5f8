"""Publications: the list, one publication, its files."""

from django.core.paginator import Paginator
from django.http import Http404, HttpResponse, HttpResponseBase
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_GET

from accounts.access import Permission, ProgramRequest, may, may_have_exact_places, needs
from surveys.language import gettext
from surveys.models import Audience, Publication
from surveys.publishing.citing import citation_text
from surveys.publishing.described import Described
from surveys.publishing.exact import note_exact_download
from surveys.publishing.files import file_of, files_of
from surveys.publishing.publish import under_way
from surveys.publishing.reading import rows_of
from surveys.publishing.serving import file_response
from surveys.publishing.withdrawing import newest_standing
from surveys.web.trends.yearly import page_of_rows, table_context

A_PAGE = 50


@require_GET
@needs(Permission.READ_RESULTS)
def publications(request: ProgramRequest) -> HttpResponse:
    member = request.membership
    published = member.program.publications.select_related("withdrawal").defer("method")
    newest: dict[int, int] = {}
    page = Paginator(published, A_PAGE).get_page(request.GET.get("page"))
    standing = published.filter(withdrawal=None).order_by()
    for year, version in standing.values_list("season_year", "version"):
        newest[year] = max(version, newest.get(year, 0))
    may_publish = may(member, Permission.PUBLISH)
    return render(
        request,
        "publications/publications.html",
        {
            "page_obj": page,
            "rows": [(publication, newest.get(publication.season_year, 0)) for publication in page],
            "may_publish": may_publish,
            "runs": under_way(member.program) if may_publish else [],
        },
    )


@require_GET
@needs(Permission.READ_RESULTS)
def publication(request: ProgramRequest, season_year: int, version: int) -> HttpResponse:
    published = publication_or_404(request, season_year, version)
    if published.withdrawn:
        return tombstone(request, published)
    described = Described(publication=published, here=public_url(request, published))
    header, rows = rows_of(published, "yearly")
    page = page_of_rows(request, list(rows))
    newest = newest_standing(request.membership.program, season_year)
    return render(
        request,
        "publications/publication.html",
        {
            "publication": published,
            "newest": newest.version,
            "may_publish": may(request.membership, Permission.PUBLISH),
            "files": files_of(published, exact=may_have_exact_places(request.membership)),
            "exact": Audience.EXACT,
            "citation": citation_text(described.cited),
            "here": described.here,
            "has_changes": _stands_before(published),
            **table_context(header, page, _common_names(published)),
            "page_obj": page,
            "show_names": may(request.membership, Permission.READ_SEASONS),
        },
    )


@require_GET
@needs(Permission.READ_RESULTS)
def publication_file(
    request: ProgramRequest, season_year: int, version: int, kind: str
) -> HttpResponseBase:
    """A frozen file."""
    published = publication_or_404(request, season_year, version)
    if published.withdrawn:
        return tombstone(request, published)
    file = file_of(published, kind, exact=may_have_exact_places(request.membership))
    if file is None:
        raise Http404(gettext("This publication has no such file."))
    if file.audience == Audience.EXACT:
        note_exact_download(
            request.membership, what=f"{published.title}: {kind}", path=request.path
        )
    return file_response(request, file)


def tombstone(request: ProgramRequest, publication: Publication) -> HttpResponse:
    """The page of a publication whose files are gone, with 410."""
    described = Described(publication=publication, here=public_url(request, publication))
    newest = newest_standing(request.membership.program, publication.season_year)
    context = {
        "publication": publication,
        "citation": citation_text(described.cited),
        "newest": newest,
        "newest_url": newest and _url(newest),
        "all_url": reverse("web:publications", args=[publication.program.slug]),
    }
    return render(request, "published/withdrawn.html", context, status=410)


def _url(publication: Publication) -> str:
    values = [publication.program.slug, publication.season_year, publication.version]
    return reverse("web:publication", args=values)


def _stands_before(publication: Publication) -> bool:
    """Whether there is a version before it to be compared with."""
    before = publication.program.publications.filter(
        season_year=publication.season_year, version=publication.version - 1, withdrawal=None
    )
    return before.exists()


def public_url(request: ProgramRequest, publication: Publication) -> str:
    values = {
        "program": publication.program.slug,
        "season_year": publication.season_year,
        "version": publication.version,
    }
    return request.build_absolute_uri(reverse("web:published_version", kwargs=values))


def publication_or_404(request: ProgramRequest, season_year: int, version: int) -> Publication:
    publication = (
        request.membership.program.publications.select_related(
            "program", "published_by", "withdrawal"
        )
        .filter(season_year=season_year, version=version)
        .first()
    )
    if publication is None:
        raise Http404(gettext("There is no such publication in this program."))
    return publication


def _common_names(published: Publication) -> dict[str, str]:
    """Common names by scientific name, as they were published."""
    header, rows = rows_of(published, "checklist")
    entries = (dict(zip(header, row, strict=True)) for row in rows)
    return {str(entry["species"]): str(entry["common_name"]) for entry in entries}
