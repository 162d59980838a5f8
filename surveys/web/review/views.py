"""Review: the page of a visit, and the coordinator's decisions."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from http import HTTPStatus
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.db.models import QuerySet
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from accounts.access import (
    Permission,
    ProgramRequest,
    needs,
)
from surveys.dates import day
from surveys.language import gettext, said
from surveys.models import (
    ReviewStep,
    StoredFinding,
    Visit,
    VisitState,
)
from surveys.protocol.values import Severity
from surveys.seasons.visits import visit_grid
from surveys.seasons.water import water_with
from surveys.visits import verbs
from surveys.visits.access import find_visit
from surveys.visits.claims import current_claims
from surveys.visits.coming_back import came_back
from surveys.visits.exceptions import (
    NotYours,
    StaleRevision,
    VisitError,
    WrongState,
)
from surveys.visits.media.photos import sheet_photos
from surveys.visits.oddness import told_reasons
from surveys.visits.own_values import own_fields_of
from surveys.visits.queue import STATES, neighbors, next_waiting
from surveys.web.conversation import conversation_of
from surveys.web.recordings.listing import recording_list
from surveys.web.review.addresses import TAB_NAMES, filter_query, filters_of, visit_url, with_query
from surveys.web.review.cards import Card, cards_by_cell, make_cards
from surveys.web.review.conditions import conditions
from surveys.web.review.confirming import confirmable_calls
from surveys.web.review.forms import (
    NoteForm,
    SettleForm,
    posted_revision,
)
from surveys.web.review.page import (
    DECISIONS,
    decision_forms,
    heard_rows,
    review_facts,
    review_map,
)
from surveys.web.sheets.history import sheet_revisions
from surveys.web.stations.facts import station_facts
from surveys.web.water.strips import strip_seasons


@dataclass(frozen=True, kw_only=True)
class Attempt:
    """What a coordinator tried to do: the verb, the form as typed, the revision that was shown.

    `finding` is the id of the query that a settle form is for. `message` says why it failed;
    `since` are the steps that others have taken since that revision.
    """

    verb: str
    seen: int
    form: SettleForm | NoteForm | None = None
    finding: int | None = None
    message: str = ""
    since: tuple[ReviewStep, ...] = ()

    def typed(self) -> list[tuple[str, str]]:
        """Label and text of everything typed, to be shown when its form is no longer there."""
        if self.form is None or not self.form.is_bound:
            return []
        rows = ((field.label, field.value()) for field in self.form)
        return [(label, value) for label, value in rows if value]


@require_GET
@needs(Permission.REVIEW)
def review_visit(request: ProgramRequest, visit: UUID) -> HttpResponse:
    return _show(request, visit)


@require_POST
@needs(Permission.REVIEW)
def settle(request: ProgramRequest, visit: UUID, finding: int) -> HttpResponse:
    """Settle a query, then return to the next open one."""
    form = SettleForm(finding, request.POST)
    attempt = Attempt(verb="settle", seen=posted_revision(request.POST), form=form, finding=finding)
    if not form.is_valid():
        return _show(
            request, visit, replace(attempt, message=gettext("The question is not resolved yet."))
        )

    def act() -> Visit:
        if not StoredFinding.objects.filter(pk=finding, visit=visit).exists():
            raise NotYours(gettext("This question is gone: the visit was submitted again."))
        return verbs.settle(
            request.membership,
            finding,
            settlement=form.cleaned_data["settlement"],
            reason=form.cleaned_data["reason"],
            revision=attempt.seen,
            whole_kind=form.cleaned_data["whole_kind"],
        )

    settled = carry_out(request, visit, attempt, act)
    if isinstance(settled, HttpResponse):
        return settled
    waiting = settled.findings.filter(severity=Severity.QUERY.value, settlement="")
    next_query = waiting.order_by("stop__number", "pk").first()
    fragment = f"#finding-{next_query.pk}" if next_query else "#decide"
    return redirect(visit_url(request, settled) + fragment)


@require_POST
@needs(Permission.REVIEW)
def accept(request: ProgramRequest, visit: UUID) -> HttpResponse:
    attempt = Attempt(verb="accept", seen=posted_revision(request.POST))

    def act() -> Visit:
        site_url = request.build_absolute_uri("/")
        return verbs.accept(request.membership, visit, revision=attempt.seen, site_url=site_url)

    return _redirect_to_next(request, carry_out(request, visit, attempt, act), gettext("Accepted"))


@require_http_methods(["GET", "POST"])
@needs(Permission.REVIEW)
def send_back(request: ProgramRequest, visit: UUID) -> HttpResponse:
    def act(note: str, revision: int) -> Visit:
        return verbs.send_back(
            request.membership,
            visit,
            note=note,
            revision=revision,
            site_url=request.build_absolute_uri("/"),
        )

    return _redirect_to_next(
        request, _decide(request, visit, "send_back", act), gettext("Sent back")
    )


@require_http_methods(["GET", "POST"])
@needs(Permission.REVIEW)
def set_aside(request: ProgramRequest, visit: UUID) -> HttpResponse:
    def act(note: str, revision: int) -> Visit:
        return verbs.set_aside(request.membership, visit, note=note, revision=revision)

    return _redirect_to_next(
        request, _decide(request, visit, "set_aside", act), gettext("Set aside")
    )


@require_http_methods(["GET", "POST"])
@needs(Permission.REVIEW)
def reopen(request: ProgramRequest, visit: UUID) -> HttpResponse:
    def act(note: str, revision: int) -> Visit:
        return verbs.reopen(request.membership, visit, note=note, revision=revision)

    reopened = _decide(request, visit, "reopen", act)
    if isinstance(reopened, HttpResponse):
        return reopened
    messages.success(request, gettext("The visit is back in review and no longer counts."))
    return redirect(visit_url(request, reopened))


def _decide(
    request: ProgramRequest, visit: UUID, verb: str, act: Callable[[str, int], Visit]
) -> Visit | HttpResponse:
    """Show the form for the note (GET), or carry out a verb that takes a note (POST)."""
    label = DECISIONS[verb].label
    if request.method == "GET":
        return _show(request, visit, Attempt(verb=verb, seen=0, form=NoteForm(verb, label)))
    form = NoteForm(verb, label, request.POST)
    attempt = Attempt(verb=verb, seen=posted_revision(request.POST), form=form)
    if not form.is_valid():
        return _show(request, visit, replace(attempt, message=gettext("This was not done yet.")))
    return carry_out(request, visit, attempt, lambda: act(form.cleaned_data["note"], attempt.seen))


def carry_out(
    request: ProgramRequest, visit: UUID, attempt: Attempt, act: Callable[[], Visit]
) -> Visit | HttpResponse:
    """The changed visit, or the page again with the reason for failure and everything typed."""
    try:
        return act()
    except (VisitError, NotYours) as error:
        is_stale = isinstance(error, NotYours | StaleRevision | WrongState)
        since: QuerySet[ReviewStep] = ReviewStep.objects.none()
        if is_stale:
            since = (
                ReviewStep.objects.filter(
                    visit=visit,
                    visit__route__program=request.membership.program_id,
                    revision__gt=attempt.seen,
                )
                .select_related("by")
                .order_by("at", "pk")
            )
        failed = replace(attempt, message=str(error), since=tuple(since))
        status = HTTPStatus.CONFLICT if is_stale else HTTPStatus.UNPROCESSABLE_ENTITY
        return _show(request, visit, failed, status)


def _redirect_to_next(
    request: ProgramRequest, decided: Visit | HttpResponse, word: str
) -> HttpResponse:
    """After a decision, redirect to the next waiting visit, or to the queue when it is empty."""
    if isinstance(decided, HttpResponse):
        return decided
    messages.success(
        request,
        said(
            "{word}: {route}, night of {day}.",
            word=word,
            route=decided.route,
            day=day(decided.night),
        ),
    )
    filters = replace(filters_of(request), state=VisitState.SUBMITTED)
    next_visit = next_waiting(request.membership, filters, decided)
    if next_visit:
        return redirect(visit_url(request, next_visit, state=""))
    slug = request.membership.program.slug
    return redirect(with_query(reverse("web:review", args=[slug]), filter_query(request, state="")))


def _show(
    request: ProgramRequest,
    visit_id: UUID,
    attempt: Attempt | None = None,
    status: int | None = None,
) -> HttpResponse:
    member = request.membership
    visit = find_visit(member, visit_id)
    if visit.state not in STATES:
        raise NotYours(gettext("This visit has not been submitted yet."))
    filters = filters_of(request)
    neighboring = neighbors(member, filters, visit)
    context = _page(request, visit) | recording_list(member, visit)
    context |= {"confirmable": confirmable_calls(member, visit)}
    context |= conversation_of(request, visit, then="review")
    context |= {
        "attempt": attempt,
        "query": filter_query(request),
        "odd": told_reasons([visit]).get(visit.pk, [])
        if visit.state == VisitState.SUBMITTED
        else [],
        "claim": current_claims(member).filter(visit=visit).select_related("by").first(),
        "previous_url": neighboring.previous and visit_url(request, neighboring.previous),
        "next_url": neighboring.next and visit_url(request, neighboring.next),
        "queue_name": TAB_NAMES[VisitState(filters.state)],
    }
    if attempt:
        context |= _attempt_context(attempt, visit, context)
    if status is None:
        has_failed = attempt is not None and attempt.message
        status = HTTPStatus.UNPROCESSABLE_ENTITY if has_failed else HTTPStatus.OK
    return render(request, "review/visit.html", context, status=status)


def _page(request: ProgramRequest, visit: Visit) -> dict[str, Any]:
    """The context of the page. The number of queries does not depend on the visit."""
    is_waiting = visit.state == VisitState.SUBMITTED
    findings = visit.findings.select_related(
        "visit__route__program", "stop", "species", "settled_by"
    )
    cards = make_cards(findings, open_state=is_waiting)
    cards_by_address = cards_by_cell(cards)
    grid = visit_grid(visit)
    own_fields = own_fields_of(request.membership.program, visit.night)
    rows = heard_rows(grid, cards, cards_by_address, own_fields)
    headings, condition_rows = conditions(visit, grid, cards_by_address, own_fields)
    queries = [card for card in cards if card.finding.severity == Severity.QUERY]
    measured, far_off = station_facts(visit)
    return {
        "visit": visit,
        "came_back": came_back([visit])[visit.pk],
        "grid": grid,
        "rows": rows,
        "headings": headings,
        "conditions": condition_rows,
        "queries": queries,
        "others": [card for card in cards if card not in queries],
        "open_count": sum(not card.settled for card in queries),
        "sheet_photos": sheet_photos(visit),
        "sightings": visit.sightings.select_related("species", "stop", "photo"),
        "steps": visit.steps.select_related("by").order_by("-at", "-pk"),
        "revisions": sheet_revisions(visit),
        "map": review_map(visit, rows, cards, ""),
        "decisions": decision_forms(visit),
        "water": strip_seasons(water_with(visit), {row.stop.pk: row.stop for row in grid.rows}),
        "stations": {"facts": measured, "note": far_off},
        "zone": visit.route.program.time_zone,
        "is_waiting": is_waiting,
        **review_facts(request.membership, visit, grid, own_fields),
    }


def _attempt_context(attempt: Attempt, visit: Visit, context: dict[str, Any]) -> dict[str, Any]:
    """Context that puts what was typed back into its form, or in `kept` without such a form."""
    if attempt.verb == "settle":
        cards: list[Card] = context["queries"]
        if not any(card.form and card.finding.pk == attempt.finding for card in cards):
            return {"kept": attempt.typed()}
        return {"queries": [_as_typed(card, attempt) for card in cards]}
    decision = DECISIONS.get(attempt.verb)
    if decision is None:
        return {}
    if visit.state not in decision.states:
        return {"kept": attempt.typed()}
    return {
        "deciding": (decision, attempt.form),
        "decisions": [pair for pair in context["decisions"] if pair[0] is not decision],
    }


def _as_typed(card: Card, attempt: Attempt) -> Card:
    if card.finding.pk != attempt.finding or card.form is None:
        return card
    attempt.form.offer(card.form.alike)
    return replace(card, form=attempt.form)
