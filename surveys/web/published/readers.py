"""Who may open a program's publications, and what stands where one was withdrawn."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import Any

from django.contrib.auth.decorators import login_not_required
from django.contrib.auth.views import redirect_to_login
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBase, JsonResponse
from django.shortcuts import render
from django.utils.crypto import constant_time_compare
from django.views.decorators.http import require_safe

from accounts.access import Permission, membership_of, require
from surveys import dates
from surveys.language import gettext
from surveys.models import Program, Publication, PublicationAudience
from surveys.publishing.citing import citation_text
from surveys.publishing.described import Described, entry
from surveys.publishing.withdrawing import newest_standing
from surveys.web.published.addresses import Addresses


class WithdrawnError(Exception):
    """The publication that was asked for is there no more."""

    def __init__(self, publication: Publication) -> None:
        super().__init__(publication)
        self.publication = publication


class ReaderRequest(HttpRequest):
    """A request of somebody who may see the program's publications. `key` is the key of the
    link that they followed, None without one."""

    program: Program
    key: str | None
    addresses: Addresses


def for_readers(view: Callable[..., HttpResponseBase]) -> Callable[..., HttpResponseBase]:
    """Restrict a view to the program's audience: everybody, holders of the link, or members.

    Others cannot even tell whether the program exists.
    """

    @login_not_required
    @require_safe
    @wraps(view)
    def guarded(
        request: HttpRequest, program: str, key: str | None = None, **rest: Any
    ) -> HttpResponseBase:
        published_program = Program.objects.filter(slug=program).first()
        if key is not None:
            if not _key_is_valid(published_program, key):
                raise Http404(gettext("This link no longer works. It may have been renewed."))
        elif (
            published_program is None
            or published_program.publication_audience != PublicationAudience.PUBLIC
        ):
            if not request.user.is_authenticated:
                return redirect_to_login(request.get_full_path())
            member = membership_of(request.user, program)
            require(member, Permission.READ_RESULTS)
        request.program, request.key = published_program, key
        dates.use(published_program.date_style)
        request.addresses = Addresses(request=request, slug=program, key=key)
        try:
            response = view(request, **rest)
        except WithdrawnError as error:
            response = tombstone(request, error.publication)
        if key is not None:
            response["X-Robots-Tag"] = "noindex"
        return response

    return guarded


def _key_is_valid(program: Program | None, key: str) -> bool:
    """Whether the key is that of the program's link. Compares in constant time, so that a key
    cannot be guessed character by character."""
    expected = program.publication_key if program else ""
    matches = constant_time_compare(key.encode(), expected.encode())
    return (
        matches
        and program is not None
        and program.publication_audience != PublicationAudience.MEMBERS
    )


def is_public(request: ReaderRequest) -> bool:
    """Whether shared caches may store the response: anybody gets it, without a key."""
    audience = request.program.publication_audience
    return audience == PublicationAudience.PUBLIC and request.key is None


# Answered in JSON; what people open, and files that were linked to, by a page.
_FOR_MACHINES = ("published_version_index", "published_dataset")


def tombstone(request: ReaderRequest, publication: Publication) -> HttpResponse:
    """What stands in the place of a withdrawn publication, with 410 (RFC 9110, 15.5.11)."""
    described = described_as(request, publication)
    citation = citation_text(described.cited)
    newest = newest_standing(request.program, publication.season_year)
    newest_url = request.addresses.version(newest) if newest else None
    if request.resolver_match.url_name.removesuffix("_by_link") in _FOR_MACHINES:
        facts = {
            **entry(publication, request.addresses.version(publication)),
            "citation": citation,
            "newest": newest_url,
        }
        return JsonResponse(facts, status=410, json_dumps_params={"indent": 2})
    context = {
        "program": request.program,
        "publication": publication,
        "citation": citation,
        "newest": newest,
        "newest_url": newest_url,
        "all_url": request.addresses.program(),
        "text_url": request.addresses.citation(publication, "txt"),
        "bibtex_url": request.addresses.citation(publication, "bib"),
        "csl_url": request.addresses.citation(publication, "json"),
    }
    return render(request, "published/withdrawn.html", context, status=410)


def described_as(request: ReaderRequest, publication: Publication) -> Described:
    return Described(publication=publication, here=request.addresses.keyless().version(publication))
