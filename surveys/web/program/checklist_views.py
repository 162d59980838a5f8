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
from surveys.dates import day
from surveys.language import said
from surveys.models import (
    Species,
)
from surveys.programs import checklist as verbs
from surveys.programs.assignments import today_of
from surveys.programs.checklist_table import set_checklist, table_facts, table_rows
from surveys.programs.regional import regional_season
from surveys.protocol.words import season_in_words
from surveys.web.forms.refusals import run_verb
from surveys.web.program.checklist_forms import (
    ChecklistTableForm,
    ListingForm,
    TakeOffForm,
    past_visits,
)
from surveys.web.publications.warning import warn_of_too_exact


def _back(request: ProgramRequest) -> HttpResponse:
    return redirect("web:program_checklist", program=request.membership.program.slug)


@require_GET
@needs(Permission.MANAGE)
def checklist(request: ProgramRequest) -> HttpResponse:
    program = request.membership.program
    entries = list(verbs.entries_of(program))
    for entry in entries:
        entry.season_in_words = season_in_words(entry.calling_season)
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
        "has_catalog": Species.objects.filter(program=None).exists(),
    }
    return render(request, "program/species_search.html", context)


@require_http_methods(["GET", "POST"])
@needs(Permission.MANAGE)
def add(request: ProgramRequest, species: str) -> HttpResponse:
    program = request.membership.program
    shown = get_object_or_404(Species.objects.known_to(program), code=species)
    offered = regional_season(program, shown)
    form = ListingForm(
        request.POST if request.method == "POST" else None,
        offered=offered,
        past=past_visits(program),
        initial={"listed_from": verbs.first_night_to_list(program, today_of(program))},
    )
    del form.fields["listed_until"]
    if request.method == "POST" and form.is_valid():
        added = run_verb(form, verbs.add_species, request.membership, shown.code, form.listing)
        if added:
            messages.success(request, said("{added} is on the checklist.", added=added))
            return _back(request)
    context = {
        "section": "checklist",
        "species": shown,
        "form": form,
        "offered": offered,
        "offered_season": season_in_words(offered.season) if offered else "",
    }
    return render(request, "program/entry.html", context)


@require_http_methods(["GET", "POST"])
@needs(Permission.MANAGE)
def table(request: ProgramRequest) -> HttpResponse:
    """Every species of the list and of the program's region, set in one step."""
    program = request.membership.program
    today = today_of(program)
    rows = table_rows(program, today)
    form = ChecklistTableForm(
        request.POST if request.method == "POST" else None,
        rows=rows,
        first=verbs.first_night_to_list(program, today),
        past=past_visits(program),
    )
    form.show(table_facts(rows))
    if request.method == "POST" and form.is_valid():
        done = run_verb(
            form,
            set_checklist,
            request.membership,
            form.typed(),
            added=form.cleaned_data["species"],
            listed_from=form.cleaned_data["listed_from"],
            today=today,
            seen=form.seen,
        )
        if done is not None:
            changed, added = done
            messages.success(
                request,
                said(
                    "The checklist is saved. Changed: {changed}. Added: {added}.",
                    changed=changed,
                    added=added,
                ),
            )
            warn_of_too_exact(request)
            return _back(request)
    context = {"section": "checklist", "form": form, "rows": form.shown_rows()}
    return render(request, "program/checklist_table.html", context)


@require_http_methods(["GET", "POST"])
@needs(Permission.MANAGE)
def entry(request: ProgramRequest, entry: int) -> HttpResponse:
    shown = verbs.entry_of(request.membership.program, entry)
    form = ListingForm(
        request.POST if request.method == "POST" else None,
        entry=shown,
        past=past_visits(request.membership.program, shown),
    )
    form.show(verbs.entry_facts(shown))
    if request.method == "POST" and form.is_valid():
        saved = run_verb(
            form, verbs.change_entry, request.membership, shown.pk, form.listing, seen=form.seen
        )
        if saved:
            messages.success(request, said("{saved} is saved.", saved=saved))
            if saved.sensitivity > shown.sensitivity:
                warn_of_too_exact(request)
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
