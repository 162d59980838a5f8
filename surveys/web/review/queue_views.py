"""Review: the queue, claims, and accepting all visits without questions at once."""

from __future__ import annotations

import uuid

from django.contrib import messages
from django.db.models import Prefetch
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from accounts.access import Permission, ProgramRequest, needs
from surveys.dates import day
from surveys.keyset import page_of
from surveys.language import gettext, said, said_of
from surveys.models import StoredFinding, Visit, VisitState
from surveys.protocol.words import listed
from surveys.visits import claims
from surveys.visits.accepting import MOST_AT_ONCE, accept_without_questions
from surveys.visits.coming_back import tell_withdrawn
from surveys.visits.oddness import compare_waiting, told_reasons, waits_for_comparison
from surveys.visits.queue import (
    OLDEST_FIRST,
    STATES,
    Order,
    choices,
    queue,
    state_counts,
    without_questions,
)
from surveys.web.numbers import whole_number
from surveys.web.program.to_do import missing_for_the_first_visit
from surveys.web.review.addresses import TAB_NAMES, filter_query, filters_of, queue_url
from surveys.web.review.forms import ORDERS, QueueForm

PAGE_SIZE = 25
# Names of visits in a message, before it says how many more there are.
NAMED = 5


@require_GET
@needs(Permission.REVIEW)
def review(request: ProgramRequest) -> HttpResponse:
    """The queue: visits in one state, filtered and ordered by the query string."""
    member = request.membership
    form = QueueForm(request.GET, choices(member))
    filters = form.filters
    page = page_of(queue(member, filters), filters.key, PAGE_SIZE, request.GET.get("at"))
    _tell_about(page.rows)
    counts = state_counts(member, filters)
    waits = filters.state == VisitState.SUBMITTED
    return render(
        request,
        "review/queue.html",
        {
            "form": form,
            "filters": filters,
            "page": page,
            "total": counts[filters.state],
            "uncompared": waits and waits_for_comparison(member),
            "order": _order_in_words(filters.ordered_by, filters.state),
            "to_do": missing_for_the_first_visit(member) if not any(counts.values()) else [],
            "without_questions": without_questions(member, filters).count() if waits else 0,
            "query": filter_query(request),
            "tabs": [
                {
                    "name": TAB_NAMES[state],
                    "url": f"?{filter_query(request, state=state)}",
                    "current": state == filters.state,
                    "count": counts[state],
                }
                for state in STATES
            ],
            "zone": member.program.time_zone,
        },
    )


def _tell_about(visits: list[Visit]) -> None:
    """Give the visits of a page their reasons in words, and who claims them now."""
    reasons = told_reasons(visits)
    tell_withdrawn(visits)
    now = timezone.now()
    for visit in visits:
        visit.is_compared = visit.pk in reasons
        visit.odd = reasons.get(visit.pk, [])
        claim = getattr(visit, "claim", None)
        visit.claimed = claim if claim and claim.until > now else None


def _order_in_words(order: Order, state: str) -> str:
    if order is Order.SUBMITTED:
        if state in OLDEST_FIRST:
            return gettext("Oldest submission first.")
        return gettext("Latest submission first.")
    return said("{order}.", order=ORDERS[order])


@require_POST
@needs(Permission.REVIEW)
def compare(request: ProgramRequest) -> HttpResponse:
    """Compare at once what the worker would compare within a minute."""
    compare_waiting(request.membership)
    return redirect(_back(request))


@require_POST
@needs(Permission.REVIEW)
def claim(request: ProgramRequest) -> HttpResponse:
    """Claim the visits named, or end the claims of them."""
    visits = _posted_ids(request)
    if "release" in request.POST:
        claims.release(request.membership, visits)
        messages.success(request, gettext("Others see these visits as free again."))
        return redirect(_back(request))
    number = claims.claim(request.membership, visits)
    minutes = int(claims.CLAIM_LASTS.total_seconds() // 60)
    if number:
        told = said_of(
            "{number} visit is yours for {minutes} minutes.",
            "{number} visits are yours for {minutes} minutes.",
            number,
            minutes=minutes,
        )
        messages.success(request, told)
    if number < len(visits):
        messages.warning(request, gettext("Some visits were claimed or decided by others."))
    return redirect(_back(request))


def _back(request: ProgramRequest) -> str:
    """The page of the program that the form stood on."""
    back = request.POST.get("back", "")
    if back.startswith("/") and url_has_allowed_host_and_scheme(back, allowed_hosts=None):
        return back
    return queue_url(request)


def _posted_ids(request: ProgramRequest) -> list[uuid.UUID]:
    ids = []
    for text in request.POST.getlist("visit")[:MOST_AT_ONCE]:
        try:
            ids.append(uuid.UUID(text))
        except ValueError:
            continue
    return ids


@require_http_methods(["GET", "POST"])
@needs(Permission.REVIEW)
def accept_many(request: ProgramRequest) -> HttpResponse:
    """Look at the list of visits without questions, then accept them in one go."""
    if request.method == "GET":
        visits = without_questions(request.membership, filters_of(request))
        return render(
            request,
            "review/accept_many.html",
            {
                "visits": visits.prefetch_related(_notes())[:MOST_AT_ONCE],
                "total": visits.count(),
                "query": filter_query(request),
                "queue_url": queue_url(request),
            },
        )
    # What stands out beside a visit that came meanwhile is not accepted unseen.
    compare_waiting(request.membership)
    done = accept_without_questions(request.membership, _posted_revisions(request))
    if done.accepted:
        told = said_of("{number} visit accepted.", "{number} visits accepted.", done.accepted)
        messages.success(request, told)
    if done.left:
        messages.warning(request, _left_in_words(done.left))
    return redirect(queue_url(request))


def _notes() -> Prefetch:
    """What rules noted of visits without questions, so that the messages cost no query each."""
    findings = StoredFinding.objects.select_related("visit__route__program", "species")
    return Prefetch("findings", findings, to_attr="notes_of_rules")


def _posted_revisions(request: ProgramRequest) -> dict[uuid.UUID, int]:
    """What was checked: `id:revision`."""
    revisions = {}
    for text in request.POST.getlist("visit")[:MOST_AT_ONCE]:
        key, _, number = text.partition(":")
        try:
            revisions[uuid.UUID(key)] = whole_number(number) or 0
        except ValueError:
            continue
    return revisions


def _left_in_words(left: tuple[Visit, ...]) -> str:
    names = [
        said("{route} on {night}", route=visit.route, night=day(visit.night))
        for visit in left[:NAMED]
    ]
    if more := len(left) - len(names):
        names.append(said_of("{number} more visit", "{number} more visits", more))
    return said("Not accepted, because they changed meanwhile: {visits}.", visits=listed(names))
