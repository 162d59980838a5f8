"""Many visits reviewed at once: questions of one rule with one reason, then acceptance."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.contrib import messages
from django.http import HttpResponse, QueryDict
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_POST

from accounts.access import Permission, ProgramRequest, needs
from surveys.language import gettext, said_of
from surveys.protocol.telling import rule_in_words
from surveys.visits.exceptions import VisitError
from surveys.visits.many import (
    MOST_AT_ONCE,
    Selection,
    accept_many,
    open_rules,
    ready,
    selected,
    settle_many,
)
from surveys.web.review_many.forms import ResolveForm, SelectionForm

_FILTERS = ("route", "season_year", "upload")


@require_GET
@needs(Permission.REVIEW)
def review_many(request: ProgramRequest) -> HttpResponse:
    return _page(request, SelectionForm(request.membership, request.GET))


def _page(
    request: ProgramRequest, form: SelectionForm, answered: ResolveForm | None = None
) -> HttpResponse:
    member, selection = request.membership, form.selection
    rules = open_rules(member, selection) if selection else []
    number = ready(member, selection).count() if selection else 0
    return render(
        request,
        "review_many/page.html",
        {
            "form": form,
            "filters": _query(form.data),
            "visits": selected(member, selection).count() if selection else 0,
            "ready": number,
            "at_once": min(number, MOST_AT_ONCE),
            "rules": [
                (rule, rule_in_words(rule.code), _resolve_form(rule.code, rule.questions, answered))
                for rule in rules
            ],
            "crumbs": [
                {
                    "name": gettext("Review"),
                    "url": reverse("web:review", args=[member.program.slug]),
                },
                {"name": gettext("Review many"), "url": ""},
            ],
        },
        status=400 if selection is None or answered is not None else 200,
    )


def _resolve_form(code: str, questions: int, answered: ResolveForm | None) -> ResolveForm:
    """Each form of the page has ids of its own."""
    if answered is not None and answered.data.get("rule") == code:
        answered.auto_id = f"{code}-%s"
        return answered
    return ResolveForm(initial={"rule": code, "seen": questions}, auto_id=f"{code}-%s")


@require_POST
@needs(Permission.REVIEW)
def resolve(request: ProgramRequest) -> HttpResponse:
    selection_form = SelectionForm(request.membership, request.POST)
    form = ResolveForm(request.POST)
    if selection_form.selection is None or not form.is_valid():
        return _page(request, selection_form, form)
    answer: dict[str, Any] = form.cleaned_data

    def act(selection: Selection) -> str:
        visits = settle_many(request.membership, selection, **answer)
        return said_of("Resolved for one visit.", "Resolved for {number} visits.", visits)

    return _carried_out(request, selection_form.selection, act)


@require_POST
@needs(Permission.REVIEW)
def accept(request: ProgramRequest) -> HttpResponse:
    form = SelectionForm(request.membership, request.POST)
    seen = request.POST.get("seen", "")
    if form.selection is None:
        return _page(request, form)

    def act(selection: Selection) -> str:
        number = int(seen) if seen.isascii() and seen.isdigit() and len(seen) < 10 else 0
        visits = accept_many(request.membership, selection, seen=number)
        return said_of("One visit is accepted.", "{number} visits are accepted.", visits)

    return _carried_out(request, form.selection, act)


def _carried_out(
    request: ProgramRequest, selection: Selection, act: Callable[[Selection], str]
) -> HttpResponse:
    try:
        messages.success(request, act(selection))
    except VisitError as error:
        messages.error(request, str(error))
    url = reverse("web:review_many", args=[request.membership.program.slug])
    return redirect(f"{url}?{_query(request.POST)}")


def _query(data: QueryDict) -> str:
    kept = QueryDict(mutable=True)
    for name in _FILTERS:
        if data.get(name):
            kept[name] = data[name]
    return kept.urlencode()
