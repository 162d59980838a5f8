"""The program: its facts, and what is still to be set up."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_GET, require_http_methods

from accounts.access import (
    Permission,
    ProgramRequest,
    needs,
)
from surveys.language import gettext, said
from surveys.programs.assignments import current_season_year
from surveys.programs.setting_up import (
    change_facts,
    country_words,
    program_facts,
    standing,
)
from surveys.web.forms.refusals import run_verb
from surveys.web.program.forms import FactsForm
from surveys.web.program.to_do import to_do


@require_GET
@needs(Permission.MANAGE)
def overview(request: ProgramRequest) -> HttpResponse:
    program = request.membership.program
    year = current_season_year(program)
    stands = standing(program, year)
    context = {
        "section": "overview",
        "to_do": to_do(program, stands, year),
        "counts": [
            (gettext("Season year"), year, ""),
            (
                gettext("Routes"),
                stands.routes,
                said("{assigned_routes} assigned", assigned_routes=stands.assigned_routes),
            ),
            (gettext("Observers"), stands.observers, ""),
            (gettext("Species"), stands.species, gettext("on the checklist")),
        ],
        "facts": [
            (gettext("Region"), program.region or "–", ""),
            (gettext("Country"), country_words(program), ""),
            (gettext("Calling region"), str(program.calling_region or "–"), ""),
            (gettext("Time zone"), program.time_zone, ""),
            (gettext("Temperatures"), f"°{program.temperature_unit}", ""),
            (gettext("Distances"), program.get_distance_unit_display().lower(), ""),
            (gettext("Clock times"), program.get_clock_style_display(), ""),
            (gettext("Dates"), program.get_date_order_display(), ""),
            (gettext("Contact"), program.contact_email or "–", ""),
            (
                gettext("Emergency"),
                program.emergency_number or "–",
                program.emergency_contact,
            ),
        ],
    }
    return render(request, "program/overview.html", context)


@require_http_methods(["GET", "POST"])
@needs(Permission.MANAGE)
def facts(request: ProgramRequest) -> HttpResponse:
    program = request.membership.program
    form = FactsForm(request.POST if request.method == "POST" else None, program=program)
    form.show(program_facts(program))
    if (
        request.method == "POST"
        and form.is_valid()
        and run_verb(form, change_facts, request.membership, seen=form.seen, **form.cleaned_data)
    ):
        messages.success(request, gettext("Program details saved."))
        return redirect("web:program", program=program.slug)
    return render(request, "program/facts.html", {"section": "overview", "form": form})
