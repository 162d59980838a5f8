"""What is set for the length of a request, and what a response need not carry."""

from collections.abc import Callable

from django.conf import settings
from django.core.exceptions import BadRequest
from django.http import HttpRequest, HttpResponse

from accounts.access import last_membership
from surveys import dates
from surveys.dates import AMERICAN, DateStyle


def refuse_nul(get_response: Callable[[HttpRequest], HttpResponse]) -> Callable:
    """PostgreSQL stores no NUL, and no address of ours has one: whoever sends one tries doors."""

    def respond(request: HttpRequest) -> HttpResponse:
        if "\0" in request.path or "%00" in request.META.get("QUERY_STRING", ""):
            raise BadRequest
        return get_response(request)

    return respond


def write_dates(get_response: Callable[[HttpRequest], HttpResponse]) -> Callable:
    """Dates as the program of the page writes them (`accounts.access.enter`); on a page outside
    any program, as the one that was opened last does, or as the texts do: in American English."""

    def respond(request: HttpRequest) -> HttpResponse:
        def outside_programs() -> DateStyle:
            member = last_membership(request)
            style = member.program.date_style if member else AMERICAN
            dates.use(style)
            return style

        with dates.using(outside_programs):
            return get_response(request)

    return respond


# The first two speak of documents, the third says again what the ETag says. A phone fetches a
# hundred small files before its first night.
_NOT_FOR_FILES = ("Cross-Origin-Opener-Policy", "Referrer-Policy", "Last-Modified")


def light_static_files(get_response: Callable[[HttpRequest], HttpResponse]) -> Callable:
    """Static files without the headers that they do not need."""

    def respond(request: HttpRequest) -> HttpResponse:
        response = get_response(request)
        if request.path.startswith(settings.STATIC_PATH) and "ETag" in response.headers:
            for name in _NOT_FOR_FILES:
                response.headers.pop(name, None)
        return response

    return respond
