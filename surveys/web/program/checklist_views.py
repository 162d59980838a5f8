"""The checklist: order, season, sensitivity; adding from the catalog; taking off."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from accounts.access import (
    Permission,
    ProgramRequest,
    needs,
)
from surveys.language import gettext, said
from surveys.models import (
    ChecklistEntry,
    Species,
)
from surveys.programs import checklist as verbs
from surveys.programs.assignments import today_of
from surveys.protocol.words import (
    day,
    month_day,
)
from surveys.web.forms.refusals import run_verb
from surveys.web.program.checklist_forms import (
    ListingForm,
    TakeOffForm,
)


def _back(request: ProgramRequest) -> HttpResponse:
    return redirect("web:program_checklist", program=request.membership.program.slug)


def _season_in_words(entry: ChecklistEntry) -> str:
    season = entry.calling_season
    return (
        said(
            "{month_day} to {month_day_2}",
            month_day=month_day(season[0]),
            month_day_2=month_day(season[1]),
        )
        if season
        else gettext("any time")
    )


@require_GET
@needs(Permission.MANAGE)
def checklist(request: ProgramRequest) -> HttpResponse:
    program = request.membership.program
    entries = list(verbs.entries_of(program))
    for entry in entries:
        entry.season_in_words = _season_in_words(entry)
    today = today_of(program)
    context = {
        "section": "checklist",
        "listed": [
            entry for entry in entries if not entry.listed_until or entry.listed_until >= today
        ],
        "former": [entry for entry in entries if entry.listed_until and entry.listed_until < today],
    }
    return render(request, "program/checklist.html", context)


@require_GET
@needs(Permission.MANAGE)
def search(request: ProgramRequest) -> HttpResponse:
    """Find a species of the catalog that is not on the list."""
    text = request.GET.get("q", "").strip()
    context = {
        "section": "checklist",
        "text": text,
        "found": verbs.search_catalog(request.membership.program, text),
        "most": verbs.MOST_FOUND,
        "has_catalog": Species.objects.exists(),
    }
    return render(request, "program/species_search.html", context)


@require_http_methods(["GET", "POST"])
@needs(Permission.MANAGE)
def add(request: ProgramRequest, species: str) -> HttpResponse:
    program = request.membership.program
    shown = get_object_or_404(Species, code=species)
    form = ListingForm(
        request.POST if request.method == "POST" else None,
        initial={"listed_from": verbs.first_night_to_list(program, today_of(program))},
    )
    del form.fields["listed_until"]
    if request.method == "POST" and form.is_valid():
        added = run_verb(form, verbs.add_species, request.membership, shown.code, form.listing)
        if added:
            messages.success(request, said("{added} is on the checklist.", added=added))
            return _back(request)
    context = {"section": "checklist", "species": shown, "form": form}
    return render(request, "program/entry.html", context)


@require_http_methods(["GET", "POST"])
@needs(Permission.MANAGE)
def entry(request: ProgramRequest, entry: int) -> HttpResponse:
    shown = verbs.entry_of(request.membership.program, entry)
    form = ListingForm(request.POST if request.method == "POST" else None, entry=shown)
    form.show(verbs.entry_facts(shown))
    if request.method == "POST" and form.is_valid():
        saved = run_verb(
            form, verbs.change_entry, request.membership, shown.pk, form.listing, seen=form.seen
        )
        if saved:
            messages.success(request, said("{saved} is saved.", saved=saved))
            return _back(request)
    context = {"section": "checklist", "entry": shown, "species": shown.species, "form": form}
    return render(request, "program/entry.html", context)


@require_http_methods(["GET", "POST"])
@needs(Permission.MANAGE)
def take_off(request: ProgramRequest, entry: int) -> HttpResponse:
    program = request.membership.program
    shown = verbs.entry_of(program, entry)
    form = TakeOffForm(request.POST if request.method == "POST" else None, today=today_of(program))
    form.show(verbs.entry_facts(shown))
    if request.method == "POST" and form.is_valid():
        gone = run_verb(
            form,
            verbs.take_off,
            request.membership,
            shown.pk,
            seen=form.seen,
            **form.cleaned_data,
        )
        if gone:
            messages.success(
                request,
                said("{gone} is listed until {day}.", gone=gone, day=day(gone.listed_until)),
            )
            return _back(request)
    context = {"section": "checklist", "entry": shown, "form": form}
    return render(request, "program/entry_take_off.html", context)


@require_POST
@needs(Permission.MANAGE)
def move(request: ProgramRequest, entry: int) -> HttpResponse:
    verbs.move_entry(request.membership, entry, up=request.POST.get("to") == "up")
    return _back(request)
