"""Species that the program adds to the catalog for itself."""

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods, require_POST

from accounts.access import Permission, ProgramRequest, needs
from surveys.language import said
from surveys.programs import own_species as verbs
from surveys.programs.assignments import today_of
from surveys.programs.checklist import first_night_to_list
from surveys.web.forms.refusals import run_verb
from surveys.web.program.checklist_forms import NamesForm, OwnSpeciesForm, past_visits


@require_http_methods(["GET", "POST"])
@needs(Permission.MANAGE)
def add(request: ProgramRequest) -> HttpResponse:
    program = request.membership.program
    form = OwnSpeciesForm(
        request.POST if request.method == "POST" else None,
        possible=verbs.possible_members(program),
        past=past_visits(program),
        initial={
            "listed_from": first_night_to_list(program, today_of(program)),
            "scientific_name": request.GET.get("name", "").strip()[:120],
        },
    )
    if request.method == "POST" and form.is_valid():
        added = run_verb(form, verbs.add_own_species, request.membership, form.names, form.listing)
        if added:
            messages.success(request, said("{added} is on the checklist.", added=added))
            return redirect("web:program_checklist", program=program.slug)
    return render(request, "program/own_species.html", {"section": "checklist", "form": form})


@require_http_methods(["GET", "POST"])
@needs(Permission.MANAGE)
def edit(request: ProgramRequest, own_species: str) -> HttpResponse:
    program = request.membership.program
    shown = verbs.own_species_by_code(program, own_species)
    form = NamesForm(
        request.POST if request.method == "POST" else None,
        possible=verbs.possible_members(program),
        species=shown,
    )
    form.show(verbs.names_facts(shown))
    if request.method == "POST" and form.is_valid():
        saved = run_verb(
            form,
            verbs.change_own_species,
            request.membership,
            shown.code,
            form.names,
            seen=form.seen,
        )
        if saved:
            messages.success(request, said("{saved} is saved.", saved=saved))
            return redirect("web:program_checklist", program=program.slug)
    context = {"section": "checklist", "form": form, "species": shown}
    return render(request, "program/own_species.html", context)


@require_POST
@needs(Permission.MANAGE)
def delete(request: ProgramRequest, own_species: str) -> HttpResponse:
    program = request.membership.program
    try:
        gone = verbs.delete_own_species(request.membership, own_species)
    except ValidationError as refusal:
        messages.error(request, " ".join(refusal.messages))
        return redirect("web:program_own_species", program.slug, own_species)
    messages.success(request, said("{species} is deleted.", species=gone))
    return redirect("web:program_checklist", program=program.slug)
