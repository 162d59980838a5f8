"""What was done to the wetland at a stop: the list, noting a change, taking a note back."""

from __future__ import annotations

from django import forms
from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_http_methods, require_POST

from accounts.access import Permission, ProgramRequest, needs
from accounts.form_errors import Form
from surveys.dates import day
from surveys.language import gettext, said
from surveys.models import ChangeKind
from surveys.programs import wetland_changes as verbs
from surveys.programs.stops import stop_of
from surveys.web.forms.fields import DateField
from surveys.web.forms.refusals import run_verb


class ChangeForm(Form):
    kind = forms.ChoiceField(
        label=gettext_lazy("What was done"),
        choices=[("", gettext_lazy("Choose one")), *ChangeKind.choices],
    )
    began = DateField(label=gettext_lazy("Day, or first day"))
    ended = DateField(
        label=gettext_lazy("Last day"),
        required=False,
        help_text=gettext_lazy("Only if it took more than one day."),
    )
    note = forms.CharField(
        label=gettext_lazy("Note"),
        max_length=300,
        required=False,
        help_text=gettext_lazy("For coordinators. It is not published."),
    )


@require_http_methods(["GET", "POST"])
@needs(Permission.MANAGE)
def changes(request: ProgramRequest, stop: int) -> HttpResponse:
    program = request.membership.program
    shown = stop_of(program, stop)
    form = ChangeForm(request.POST if request.method == "POST" else None)
    if request.method == "POST" and form.is_valid():
        change = run_verb(
            form, verbs.note_change, request.membership, shown.pk, **form.cleaned_data
        )
        if change:
            messages.success(
                request,
                said(
                    "Noted for {stop}: {change}, {day}.",
                    stop=shown,
                    change=change,
                    day=day(change.began),
                ),
            )
            return redirect("web:wetland_changes", program=program.slug, stop=shown.pk)
    context = {
        "section": "routes",
        "route": shown.route,
        "stop": shown,
        "form": form,
        "changes": verbs.changes_at(shown),
    }
    return render(request, "wetlands/changes.html", context)


@require_POST
@needs(Permission.MANAGE)
def delete(request: ProgramRequest, stop: int, change: int) -> HttpResponse:
    program = request.membership.program
    if not stop_of(program, stop).changes.filter(pk=change).exists():
        raise Http404(gettext("There is no such change at this stop."))
    verbs.delete_change(request.membership, change)
    messages.success(request, gettext("The note of the change is deleted."))
    return redirect("web:wetland_changes", program=program.slug, stop=stop)
