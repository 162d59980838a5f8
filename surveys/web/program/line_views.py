"""The line of a route, drawn on the map or typed."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods

from accounts.access import (
    Permission,
    ProgramRequest,
    needs,
)
from surveys.language import filled, gettext
from surveys.programs import lines as verbs
from surveys.programs.routes import route_of
from surveys.programs.stops import present_stops
from surveys.web.forms.refusals import run_verb
from surveys.web.program.route_forms import LineForm
from surveys.web.program.route_views import (
    map_data,
    stops_around,
)


@require_http_methods(["GET", "POST"])
@needs(Permission.MANAGE)
def edit(request: ProgramRequest, route: int) -> HttpResponse:
    program = request.membership.program
    shown = route_of(program, route)
    form = LineForm(
        request.POST if request.method == "POST" else None,
        initial={"points": verbs.line_text(shown)},
    )
    form.show(verbs.line_facts(shown))
    if request.method == "POST" and form.is_valid():
        saved = run_verb(
            form,
            verbs.change_line,
            request.membership,
            shown.pk,
            seen=form.seen,
            **form.cleaned_data,
        )
        if saved:
            text = (
                gettext("The line of route {route} is saved.")
                if saved.line
                else gettext("The line of route {route} is removed. Straight lines join the stops.")
            )
            messages.success(request, filled(text, {"route": str(saved)}))
            return redirect("web:program_route", program=program.slug, route=saved.pk)
    stops = present_stops(shown)
    # The module draws the line itself; beside it the stops are joined straight.
    shown.line = None
    context = {
        "section": "routes",
        "route": shown,
        "form": form,
        "map_data": map_data(shown, stops, around=[] if stops else stops_around(program)),
    }
    return render(request, "program/route_line.html", context)
