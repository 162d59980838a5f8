"""Addresses of the review: they carry the filters of the queue from visit to visit."""

from __future__ import annotations

from django.http import QueryDict
from django.urls import reverse
from django.utils.translation import gettext_lazy

from accounts.access import ProgramRequest
from surveys.models import Visit, VisitState
from surveys.visits.queue import QueueFilters
from surveys.web.review.forms import QueueForm

TAB_NAMES = {
    VisitState.SUBMITTED: gettext_lazy("Waiting"),
    VisitState.SENT_BACK: gettext_lazy("Sent back"),
    VisitState.ACCEPTED: gettext_lazy("Accepted"),
    VisitState.SET_ASIDE: gettext_lazy("Set aside"),
}


def filters_of(request: ProgramRequest) -> QueueFilters:
    return QueueForm(request.GET).filters


def filter_query(request: ProgramRequest, **changes: str) -> str:
    """The current filters as a query string, without the page."""
    query = QueryDict(mutable=True)
    for name in QueueForm.base_fields:
        value = changes.get(name, request.GET.get(name, ""))
        if value:
            query[name] = value
    return query.urlencode()


def queue_url(request: ProgramRequest, **changes: str) -> str:
    url = reverse("web:review", kwargs={"program": request.membership.program.slug})
    return with_query(url, filter_query(request, **changes))


def visit_url(request: ProgramRequest, visit: Visit, **changes: str) -> str:
    slug = request.membership.program.slug
    url = reverse("web:review_visit", kwargs={"program": slug, "visit": visit.pk})
    return with_query(url, filter_query(request, **changes))


def with_query(url: str, query: str) -> str:
    return f"{url}?{query}" if query else url
