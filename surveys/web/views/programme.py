"""The programme: its facts, and what is still to be set up."""

from dataclasses import dataclass

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_http_methods

from accounts.access import Permission, ProgrammeRequest, needs
from surveys.models import Programme
from surveys.programmes.assignments import current_season_year
from surveys.programmes.setting_up import Standing, change_facts, programme_facts, standing
from surveys.web.forms.programme import FactsForm
from surveys.web.forms.refusals import tried


@dataclass(frozen=True, kw_only=True)
class ToDo:
    """One thing that is missing before observers can survey."""

    text: str
    url: str
    label: str


def _to_do(programme: Programme, stands: Standing, year: int) -> list[ToDo]:
    checks = (
        (
            not stands.protocols,
            "There is no protocol yet. It holds the season windows and all limits.",
            "programme_protocols",
            "Set up a protocol",
        ),
        (
            not stands.species,
            "The checklist is empty. Silence counts as zero only for species on it.",
            "programme_checklist",
            "Choose species",
        ),
        (
            bool(stands.protocols) and not stands.routes,
            "There are no routes yet.",
            "programme_routes",
            "Add a route",
        ),
        (
            bool(stands.routes_without_stops),
            f"Routes without a stop: {stands.routes_without_stops}.",
            "programme_routes",
            "See the routes",
        ),
        (not stands.observers, "No observer has joined yet.", "people_invite", "Invite somebody"),
        (
            stands.routes > stands.assigned_routes,
            f"Routes that nobody surveys in {year}: {stands.routes - stands.assigned_routes}.",
            "programme_assignments",
            "Assign observers",
        ),
    )
    return [
        ToDo(text=text, url=reverse(f"web:{name}", args=[programme.slug]), label=label)
        for missing, text, name, label in checks
        if missing
    ]


@require_GET
@needs(Permission.MANAGE)
def overview(request: ProgrammeRequest) -> HttpResponse:
    programme = request.membership.programme
    year = current_season_year(programme)
    stands = standing(programme, year)
    context = {
        "section": "overview",
        "to_do": _to_do(programme, stands, year),
        "counts": [
            ("Season year", year, ""),
            ("Routes", stands.routes, f"{stands.assigned_routes} assigned"),
            ("Observers", stands.observers, ""),
            ("Species", stands.species, "on the checklist"),
        ],
        "facts": [
            ("Region", programme.region or "–", ""),
            ("Time zone", programme.time_zone, ""),
            ("Temperatures", f"°{programme.temperature_unit}", ""),
            ("Distances", programme.get_distance_unit_display().lower(), ""),
            ("Contact", programme.contact_email or "–", ""),
        ],
    }
    return render(request, "web/programme/overview.html", context)


@require_http_methods(["GET", "POST"])
@needs(Permission.MANAGE)
def facts(request: ProgrammeRequest) -> HttpResponse:
    programme = request.membership.programme
    form = FactsForm(request.POST if request.method == "POST" else None, programme=programme)
    form.show(programme_facts(programme))
    if (
        request.method == "POST"
        and form.is_valid()
        and tried(form, change_facts, request.membership, seen=form.seen, **form.cleaned_data)
    ):
        messages.success(request, "The facts of the programme are saved.")
        return redirect("web:programme", programme=programme.slug)
    return render(request, "web/programme/facts.html", {"section": "overview", "form": form})
