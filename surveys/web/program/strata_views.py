"""The stratum of every route, in one text."""

from django import forms
from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_http_methods

from accounts.access import Permission, ProgramRequest, needs
from surveys.language import said_of
from surveys.programs.strata import set_strata, strata_as_text, strata_facts
from surveys.web.forms.refusals import run_verb
from surveys.web.forms.seen import SeenForm

_ROWS = 16


class StrataForm(SeenForm):
    strata = forms.CharField(
        label=gettext_lazy("Routes and their strata"),
        required=False,
        max_length=100_000,
        widget=forms.Textarea(attrs={"rows": _ROWS}),
        help_text=gettext_lazy(
            "One route per line: its code, a comma, its stratum. You can paste two columns of a "
            "spreadsheet. A code alone clears the stratum."
        ),
    )


@require_http_methods(["GET", "POST"])
@needs(Permission.MANAGE)
def strata(request: ProgramRequest) -> HttpResponse:
    program = request.membership.program
    form = StrataForm(
        request.POST if request.method == "POST" else None,
        initial={"strata": strata_as_text(program)},
    )
    form.show(strata_facts(program))
    if request.method == "POST" and form.is_valid():
        text = form.cleaned_data["strata"]
        changed = run_verb(form, set_strata, request.membership, text, seen=form.seen)
        if changed is not None:
            messages.success(
                request,
                said_of(
                    "The stratum of one route is saved.",
                    "The strata of {number} routes are saved.",
                    changed,
                ),
            )
            return redirect("web:program_routes", program=program.slug)
    return render(request, "program/strata.html", {"section": "routes", "form": form})
