"""Would we notice a decline? The chance that today's surveys, or other ones, show a fall."""

from typing import Any

from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_http_methods

from accounts.access import Permission, ProgramRequest, needs
from surveys.charts.method_words import method_in_words
from surveys.charts.needed_effort import needed_sentence
from surveys.charts.power import power_spec
from surveys.charts.words import share
from surveys.fitting.power import (
    PowerUnknownError,
    SurveyBaseline,
    cells_of,
    plan_of,
    request_power_study,
    survey_baseline,
)
from surveys.language import gettext, said
from surveys.models import PowerStudy, Species
from surveys.web.power.forms import PowerForm
from surveys.web.power.words import AIM, aim_sentence, power_alt, power_rows, power_sentence
from surveys.web.runs.page import progress_context
from surveys.web.trends.pictures import picture


@require_http_methods(["GET", "POST"])
@needs(Permission.REVIEW)
def power(request: ProgramRequest) -> HttpResponse:
    """Ask; the species may be in the query, and the numbers start as things are today."""
    program = request.membership.program
    form = PowerForm(request.POST or None, program=program)
    species, baseline, why_not = _species_and_baseline(form, request)
    if request.method == "POST" and form.is_valid() and species is not None:
        try:
            study = _ask(request, form, species)
        except PowerUnknownError as error:
            form.add_error(None, str(error))
        else:
            return redirect("web:power_study", program=program.slug, study_id=study.pk)
    if request.method == "GET":
        form = PowerForm(program=program, initial=_initial(species, baseline))
    return render(
        request,
        "power/ask.html",
        {
            "form": form,
            "species": species,
            "baseline": baseline,
            "needed": needed_sentence(baseline.result) if baseline and baseline.result else "",
            "why_not": why_not,
            "studies": program.power_studies.select_related("species", "run")[:10],
            "crumbs": _crumbs(program.slug, gettext("Would we notice a decline?")),
        },
        status=422 if form.errors else 200,
    )


@require_GET
@needs(Permission.REVIEW)
def power_study(request: ProgramRequest, study_id: int) -> HttpResponse:
    """The answer, or that it is still being worked out; the same part alone for the page that
    waits."""
    program = request.membership.program
    study = _study(request, study_id)
    plan, cells = plan_of(study), cells_of(study)
    context: dict[str, Any] = {
        "study": study,
        "species": study.species,
        "plan": plan,
        "start": share(plan.occupancy),
        "detection": share(plan.detection),
        "outcome": "power/no_answer.html",
        "promise": gettext(
            "We simulate a few hundred surveys for each plan. This takes seconds to a few minutes."
        ),
        **progress_context(study.run),
    }
    if cells:
        name = study.species.name
        context |= {
            "sentence": power_sentence(name, plan, cells),
            "aim": aim_sentence(plan, cells),
            "rows": power_rows(plan, cells),
            "visits": study.plan["visits"],
            "alt": power_alt(name, plan, cells),
            "simulations": method_in_words(cells[0].chance.interval),
        }
    if request.headers.get("HX-Request"):
        return render(request, "power/answer.html", context)
    context["crumbs"] = _crumbs(
        program.slug, study.species.name, reverse("web:power", args=[program.slug])
    )
    return render(request, "power/study.html", context)


@require_GET
@needs(Permission.REVIEW)
def power_chart(request: ProgramRequest, study_id: int, form: str) -> HttpResponse:
    study = _study(request, study_id)
    cells = cells_of(study)
    if not cells:
        raise Http404(gettext("This is still being calculated."))
    plan, name = plan_of(study), study.species.name
    title = said(
        "{name}: chance to notice a decline of {plan}% in {years} years",
        name=name,
        plan=f"{plan.fall * 100:.0f}",
        years=plan.years,
    )
    return picture(
        request,
        power_spec(title, cells, aim=AIM),
        form,
        stem=f"{request.membership.program.slug}-{study.species.code}-could-we-see-it",
    )


def _study(request: ProgramRequest, study_id: int) -> PowerStudy:
    studies = request.membership.program.power_studies.select_related("species", "run")
    return get_object_or_404(studies, pk=study_id)


def _species_and_baseline(
    form: PowerForm, request: ProgramRequest
) -> tuple[Species | None, SurveyBaseline | None, str]:
    """The species of the address, else the first with an answer, else the first of the checklist;
    how things are with it today, or why that cannot be said."""
    code = request.POST.get("species") or request.GET.get("species", "")
    chosen = form.checklist.get(code)
    candidates = [chosen] if chosen else list(form.checklist.values())
    reasons: list[str] = []
    for species in candidates:
        try:
            return species, survey_baseline(request.membership.program, species), ""
        except PowerUnknownError as error:
            reasons.append(str(error))
    return next(iter(candidates), None), None, next(iter(reasons), "")


def _initial(species: Species | None, baseline: SurveyBaseline | None) -> dict[str, object]:
    initial: dict[str, object] = {"fall": 30, "years": 10}
    if species is not None:
        initial["species"] = species.code
    if baseline is not None:
        initial |= {"routes": baseline.routes, "visits": baseline.visits}
    return initial


def _ask(request: ProgramRequest, form: PowerForm, species: Species) -> PowerStudy:
    data = form.cleaned_data
    return request_power_study(
        request.membership,
        species,
        routes=data["routes"],
        visits=data["visits"],
        years=data["years"],
        fall=data["fall"] / 100,
    )


def _crumbs(slug: str, name: str, above: str = "") -> list[dict[str, str]]:
    middle = [{"name": gettext("Would we notice a decline?"), "url": above}] if above else []
    return [
        {"name": gettext("Trends"), "url": reverse("web:trends", args=[slug])},
        *middle,
        {"name": name, "url": ""},
    ]
