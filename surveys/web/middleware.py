"""What is set for the length of a request."""

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse

from accounts.access import last_membership
from surveys import dates
from surveys.dates import AMERICAN, DateStyle


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
