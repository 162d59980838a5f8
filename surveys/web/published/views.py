"""Publications for partners and the public. Open without signing in, on purpose, to the audience
that the program has chosen.
"""

from __future__ import annotations

import hashlib
import json
import re
from functools import partial
from typing import Any

from django.conf import settings
from django.http import Http404, HttpResponse, HttpResponseBase
from django.shortcuts import redirect, render
from django.utils.cache import get_conditional_response, patch_vary_headers
from django.utils.html import format_html
from django.utils.safestring import SafeString, mark_safe

from surveys.charts.words import written_change
from surveys.language import gettext, said
from surveys.models import (
    Publication,
)
from surveys.publishing.citing import (
    BIBTEX,
    CSL_JSON,
    JSON_LD,
    bibtex,
    citation_text,
    csl,
)
from surveys.publishing.described import (
    Described,
    entry,
    index,
    jsonld,
    trends_of,
)
from surveys.publishing.files import file_of
from surveys.publishing.formats.reproduce import COMMANDS
from surveys.publishing.serving import file_response
from surveys.publishing.withdrawing import newest_standing
from surveys.web.published.readers import (
    ReaderRequest,
    WithdrawnError,
    described_as,
    for_readers,
    is_public,
)

PAGE_AGE_S = 60
MACHINE_AGE_S = 300
_FORM_TOKEN = re.compile(rb'name="csrfmiddlewaretoken" value="[^"]*"')


@for_readers
def published(request: ReaderRequest) -> HttpResponse:
    """Every publication of the program, newest first."""
    rows = [
        (publication, newest, request.addresses.version(publication))
        for publication, newest in _with_newest_version(request)
    ]
    context = {
        "program": request.program,
        "rows": rows,
        "index_url": request.addresses.index(),
    }
    return _page(request, "published/program.html", context)


@for_readers
def published_index(request: ReaderRequest) -> HttpResponse:
    program = request.program
    facts = {
        "program": program.name,
        "region": program.region,
        "url": request.addresses.program(),
        "publications": [
            {
                **entry(publication, request.addresses.version(publication)),
                "newest": publication.version == newest,
            }
            for publication, newest in _with_newest_version(request)
        ],
    }
    return _machine_readable(request, json.dumps(facts, indent=2), "application/json")


@for_readers
def published_year(request: ReaderRequest, season_year: int) -> HttpResponse:
    """Redirect to the newest version of a season year, one that stands where there is one."""
    newest = newest_standing(request.program, season_year)
    newest = newest or _versions(request).filter(season_year=season_year).first()
    if newest is None:
        raise Http404(gettext("Nothing is published for this season year."))
    return redirect(request.addresses.version(newest))


@for_readers
def published_version(request: ReaderRequest, season_year: int, version: int) -> HttpResponse:
    described, addresses = _described(request, season_year, version), request.addresses
    publication = described.publication
    newest = _newest(request, season_year)
    data = _jsonld(request, described, superseded=publication.version < newest.version)
    context = {
        "program": request.program,
        "publication": publication,
        "described": described,
        "superseded": publication.version < newest.version,
        "newest": newest,
        "newest_url": addresses.version(newest),
        "files": [(file, addresses.file(publication, file.kind)) for file in described.files],
        "trends": [_trend_in_words(row) for row in trends_of(described)],
        "method": publication.method,
        "citation": citation_text(described.cited),
        "jsonld": _data_block(data),
        "commands": COMMANDS if any(file.kind == "tables.zip" for file in described.files) else (),
        "urls": {
            "all": addresses.program(),
            "index": addresses.version_index(publication),
            "dataset": addresses.dataset(publication),
            "text": addresses.citation(publication, "txt"),
            "bibtex": addresses.citation(publication, "bib"),
            "csl": addresses.citation(publication, "json"),
            "files": addresses.file(publication, ""),
        },
    }
    response = _page(request, "published/version.html", context)
    response["Link"] = ", ".join(_links(request, described, newest))
    return response


@for_readers
def published_version_index(request: ReaderRequest, season_year: int, version: int) -> HttpResponse:
    described = _described(request, season_year, version)
    newest = _newest(request, season_year)
    newer = request.addresses.version(newest) if newest.version > version else None
    facts = index(
        described,
        url=request.addresses.version(described.publication),
        newer_url=newer,
        file_url=partial(request.addresses.file, described.publication),
    )
    return _machine_readable(request, json.dumps(facts, indent=2), "application/json")


@for_readers
def published_dataset(request: ReaderRequest, season_year: int, version: int) -> HttpResponse:
    described = _described(request, season_year, version)
    superseded = version < _newest(request, season_year).version
    text = json.dumps(_jsonld(request, described, superseded=superseded), indent=2)
    return _machine_readable(request, text, JSON_LD)


@for_readers
def published_citation(
    request: ReaderRequest, season_year: int, version: int, form: str
) -> HttpResponse:
    """Of one that was withdrawn, too: what was cited can still be looked up."""
    publication = _publication(request, season_year, version)
    cited = described_as(request, publication).cited
    if form == "bib":
        return _machine_readable(request, bibtex(cited), BIBTEX, name=f"{cited.key}.bib")
    if form == "json":
        text = json.dumps(csl(cited), indent=2, ensure_ascii=False)
        return _machine_readable(request, text, CSL_JSON, name=f"{cited.key}.json")
    if form == "txt":
        return _machine_readable(request, citation_text(cited) + "\n", "text/plain; charset=utf-8")
    raise Http404(gettext("A citation is given as txt, bib or json."))


@for_readers
def published_file(
    request: ReaderRequest, season_year: int, version: int, kind: str
) -> HttpResponseBase:
    """A frozen file; never one with exact places."""
    publication = _standing(request, season_year, version)
    file = file_of(publication, kind, exact=False)
    if file is None:
        raise Http404(gettext("This publication has no such file."))
    file.publication = publication
    response = file_response(request, file, public=is_public(request))
    response["Link"] = f'<{request.addresses.version(publication)}>; rel="collection"'
    return response


def _versions(request: ReaderRequest) -> Any:
    return request.program.publications.select_related("program", "withdrawal").order_by(
        "-season_year", "-version"
    )


def _with_newest_version(request: ReaderRequest) -> list[tuple[Publication, int]]:
    """Publications, each with the number of the newest version of its season year that stands; 0
    where none does."""
    publications = list(_versions(request))
    newest: dict[int, int] = {}
    for publication in publications:
        if not publication.withdrawn:
            newest.setdefault(publication.season_year, publication.version)
    return [(publication, newest.get(publication.season_year, 0)) for publication in publications]


def _newest(request: ReaderRequest, season_year: int) -> Publication:
    """To be asked for where one stands."""
    return _versions(request).filter(season_year=season_year, withdrawal=None)[0]


def _publication(request: ReaderRequest, season_year: int, version: int) -> Publication:
    publication = _versions(request).filter(season_year=season_year, version=version).first()
    if publication is None:
        raise Http404(gettext("There is no such publication."))
    return publication


def _standing(request: ReaderRequest, season_year: int, version: int) -> Publication:
    publication = _publication(request, season_year, version)
    if publication.withdrawn:
        raise WithdrawnError(publication)
    return publication


def _described(request: ReaderRequest, season_year: int, version: int) -> Described:
    return described_as(request, _standing(request, season_year, version))


def _jsonld(request: ReaderRequest, described: Described, *, superseded: bool) -> dict[str, Any]:
    file_url = partial(request.addresses.file, described.publication)
    return jsonld(described, superseded=superseded, file_url=file_url)


def _trend_in_words(row: dict[str, Any]) -> dict[str, Any]:
    """The row with its latest occupancy and its change as percentages with intervals. A change is
    told where Trends tells it."""
    newest = row["newest"]
    return {
        **row,
        "share": _percent(newest, "occupancy") if newest else "",
        "changes": written_change(row),
    }


def _percent(row: dict[str, Any], name: str) -> str:
    """`42.1% (33.8 to 50.4)`; blank without an estimate."""
    if not row[name]:
        return ""
    value, low, high = (
        f"{float(row[end]) * 100:.1f}" if row[end] else "?"
        for end in (name, f"{name}_low", f"{name}_high")
    )
    return said("{value}% ({low} to {high})", value=value, low=low, high=high)


def _links(request: ReaderRequest, described: Described, newest: Publication) -> list[str]:
    """Typed links (RFC 8288) for software: cite-as (RFC 8574), license, describedby, item,
    and the versions (RFC 5829)."""
    publication, addresses = described.publication, request.addresses
    links = [
        f'<{described.url}>; rel="cite-as"',
        f'<{described.license_url}>; rel="license"',
        f'<{addresses.dataset(publication)}>; rel="describedby"; type="{JSON_LD}"',
        f'<{addresses.citation(publication, "json")}>; rel="describedby"; type="{CSL_JSON}"',
        f'<{addresses.version(newest)}>; rel="latest-version"',
        '<https://schema.org/Dataset>; rel="type"',
    ]
    links += [f'<{addresses.file(publication, file.kind)}>; rel="item"' for file in described.files]
    return links


def _data_block(data: dict[str, Any]) -> SafeString:
    """JSON-LD as a data block. It is not executed, so the content security policy allows it."""
    text = json.dumps(data, indent=1)
    for character, escaped in (("<", "\\u003C"), (">", "\\u003E"), ("&", "\\u0026")):
        text = text.replace(character, escaped)
    return format_html('<script type="{}">{}</script>', JSON_LD, mark_safe(text))  # noqa: S308


def _page(request: ReaderRequest, template: str, context: dict[str, Any]) -> HttpResponse:
    """An HTML page, or 304 when the reader already has it.

    The CSRF token in its forms is masked differently each time, so the ETag is weak: it covers
    the rest of the page and the cookie that the token belongs to.
    """
    response = render(request, template, context)
    if is_public(request):
        response["Cache-Control"] = f"private, max-age={PAGE_AGE_S}"
    patch_vary_headers(response, ["Cookie"])
    cookie = request.COOKIES.get(settings.CSRF_COOKIE_NAME, "")
    checksum = hashlib.sha256(_FORM_TOKEN.sub(b"", response.content) + cookie.encode())
    return _conditional(request, response, f'W/"{checksum.hexdigest()}"')


def _machine_readable(
    request: ReaderRequest, text: str, media_type: str, *, name: str = ""
) -> HttpResponse:
    """A response for software, or 304 when the reader already has it."""
    headers = {}
    if is_public(request):
        headers["Cache-Control"] = f"public, max-age={MACHINE_AGE_S}"
    if name:
        headers["Content-Disposition"] = f'attachment; filename="{name}"'
    response = HttpResponse(text, content_type=media_type, headers=headers)
    checksum = hashlib.sha256(response.content)
    return _conditional(request, response, f'"{checksum.hexdigest()}"')


def _conditional(request: ReaderRequest, response: HttpResponse, etag: str) -> HttpResponse:
    """RFC 9110, sections 8.8.3 and 15.4.5."""
    response["ETag"] = etag
    return get_conditional_response(request, etag=etag, response=response)
