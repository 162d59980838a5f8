"""The program's own fields: which there are, in which order, and what each asks."""

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from accounts.access import Permission, ProgramRequest, needs
from surveys.language import said
from surveys.programs import own_fields as verbs
from surveys.programs.assignments import today_of
from surveys.web.forms.refusals import run_verb
from surveys.web.program.own_field_forms import OwnFieldForm


def _back(request: ProgramRequest) -> HttpResponse:
    return redirect("web:program_own_fields", program=request.membership.program.slug)


@require_GET
@needs(Permission.MANAGE)
def own_fields(request: ProgramRequest) -> HttpResponse:
    program = request.membership.program
    today = today_of(program)
    fields = list(verbs.own_fields_of(program))
    ended = [field for field in fields if field.asked_until and field.asked_until < today]
    context = {
        "section": "own_fields",
        "asked": [field for field in fields if field not in ended],
        "ended": ended,
    }
    return render(request, "program/own_fields.html", context)


@require_http_methods(["GET", "POST"])
@needs(Permission.MANAGE)
def add(request: ProgramRequest) -> HttpResponse:
    form = OwnFieldForm(
        request.POST if request.method == "POST" else None,
        today=today_of(request.membership.program),
    )
    if request.method == "POST" and form.is_valid():
        added = run_verb(form, verbs.add_field, request.membership, form.definition)
        if added:
            messages.success(request, said("“{field}” is on the sheet.", field=added))
            return _back(request)
    return render(request, "program/own_field.html", {"section": "own_fields", "form": form})


@require_http_methods(["GET", "POST"])
@needs(Permission.MANAGE)
def own_field(request: ProgramRequest, own_field: int) -> HttpResponse:
    program = request.membership.program
    shown = verbs.own_field_of(program, own_field)
    form = OwnFieldForm(
        request.POST if request.method == "POST" else None, field=shown, today=today_of(program)
    )
    form.show(verbs.field_facts(shown))
    if request.method == "POST" and form.is_valid():
        saved = run_verb(
            form, verbs.change_field, request.membership, shown.pk, form.definition, seen=form.seen
        )
        if saved:
            messages.success(request, said("“{field}” is saved.", field=saved))
            return _back(request)
    context = {
        "section": "own_fields",
        "form": form,
        "field_shown": shown,
        "has_data": verbs.has_data(shown),
    }
    return render(request, "program/own_field.html", context)


@require_POST
@needs(Permission.MANAGE)
def delete(request: ProgramRequest, own_field: int) -> HttpResponse:
    try:
        gone = verbs.delete_field(request.membership, own_field)
    except ValidationError as refusal:
        messages.error(request, " ".join(refusal.messages))
    else:
        messages.success(request, said("“{field}” is deleted.", field=gone))
    return _back(request)


@require_POST
@needs(Permission.MANAGE)
def move(request: ProgramRequest, own_field: int) -> HttpResponse:
    verbs.move_field(request.membership, own_field, up=request.POST.get("to") == "up")
    return _back(request)
