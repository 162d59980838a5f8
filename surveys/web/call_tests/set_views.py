"""The call-identification test as coordinators set it, and what came of it."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from accounts.access import Permission, ProgramRequest, needs
from surveys.language import gettext
from surveys.learning import call_tests as verbs
from surveys.learning.results import tries_of_all
from surveys.web.call_tests.forms import TestForm
from surveys.web.forms.refusals import run_verb


@require_http_methods(["GET", "HEAD", "POST"])
@needs(Permission.MANAGE)
def set_test(request: ProgramRequest) -> HttpResponse:
    member = request.membership
    bank = verbs.bank_to_test(member)
    before = verbs.open_test(member.program)
    form = TestForm(
        request.POST if request.method == "POST" else None,
        species=list(bank.species.values()),
        initial={"species": before.species if before else list(bank.species)},
    )
    if form.is_bound and form.is_valid() and run_verb(form, verbs.set_test, member, form.terms):
        messages.success(request, gettext("The test is set. Observers can take it now."))
        return redirect("web:call_test", member.program.slug)
    context = {
        "section": "people",
        "form": form,
        "before": before,
        "without_call": [one.name for one in bank.without_call],
    }
    return render(request, "call_tests/set.html", context, status=422 if form.errors else 200)


@require_POST
@needs(Permission.MANAGE)
def close(request: ProgramRequest) -> HttpResponse:
    verbs.close_test(request.membership)
    messages.success(request, gettext("The test is closed. Tests that were passed stay valid."))
    return redirect("web:call_test", request.membership.program.slug)


@require_safe
@needs(Permission.MANAGE)
def results(request: ProgramRequest) -> HttpResponse:
    return render(request, "call_tests/results.html", {"tries": tries_of_all(request.membership)})
