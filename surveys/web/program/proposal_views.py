"""Stops proposed along the line of a route."""

from django import forms
from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_http_methods

from accounts.access import Permission, ProgramRequest, needs
from accounts.form_errors import Form
from surveys.language import gettext, said, said_of
from surveys.models import Program, ProtocolVersion, Stop
from surveys.programs import stop_proposals as verbs
from surveys.programs.assignments import today_of, tonight_of
from surveys.programs.places import places_of, point_of
from surveys.programs.protocols import version_on
from surveys.programs.routes import route_of
from surveys.protocol.values import DistanceUnit
from surveys.protocol.weather import METERS_PER_MILE
from surveys.web.forms.fields import DateField, MeasureField
from surveys.web.forms.refusals import run_verb
from surveys.web.program.route_views import map_data


class ProposalForm(Form):
    """How many stops, how far apart, in the unit of the program."""

    most = forms.IntegerField(label=gettext_lazy("Number of stops"), min_value=1, max_value=100)
    first_night = DateField(
        label=gettext_lazy("First night"),
        help_text=gettext_lazy(
            "The stops can be surveyed from this night on. If you will import past visits, give "
            "the night of the first one."
        ),
    )
    field_order = ("spacing", "most", "first_night")

    def __init__(
        self, program: Program, version: ProtocolVersion | None, data: object = None
    ) -> None:
        spacing, most = verbs.usual(version)
        initial = {
            "spacing": spacing,
            "most": most,
            "first_night": tonight_of(program),
        }
        super().__init__(data, initial=initial)
        in_miles = program.distance_unit == DistanceUnit.MILES.value
        self.fields["spacing"] = MeasureField(
            per_unit=float(METERS_PER_MILE) if in_miles else 1000.0,
            label=gettext("Distance between stops, in miles")
            if in_miles
            else gettext("Distance between stops, in kilometers"),
            help_text=gettext("Along the road, and in a straight line."),
        )
        self.order_fields(self.field_order)

    def wanted(self) -> dict[str, object]:
        typed = self.cleaned_data["spacing"]
        return {
            "spacing": self.fields["spacing"].stored(typed),
            "most": self.cleaned_data["most"],
        }


@require_http_methods(["GET", "POST"])
@needs(Permission.MANAGE)
def propose(request: ProgramRequest, route: int) -> HttpResponse:
    """Shows the proposed stops, and opens them when asked to."""
    program = request.membership.program
    shown = route_of(program, route)
    version = version_on(shown.protocol, today_of(program))
    posted = request.method == "POST"
    form = ProposalForm(program, version, request.POST if posted else None)
    proposed: list[Stop] = []
    if posted and form.is_valid():
        if "add" in request.POST:
            night = form.cleaned_data["first_night"]
            added = run_verb(
                form,
                verbs.add_proposed,
                request.membership,
                shown.pk,
                first_night=night,
                **form.wanted(),
            )
            if added:
                text = said_of("{number} stop is added.", "{number} stops are added.", len(added))
                messages.success(request, text)
                return redirect("web:program_route", program=program.slug, route=shown.pk)
        line = places_of(shown.line)
        places = run_verb(form, verbs.propose, line, **form.wanted()) or []
        proposed = [
            Stop(route=shown, number=number, name=_name(number), place=point_of(place))
            for number, place in enumerate(places, start=1)
        ]
    context = {
        "section": "routes",
        "route": shown,
        "form": form,
        "proposed": proposed,
        "too_few": bool(proposed) and len(proposed) < form.cleaned_data.get("most", 0),
        "map_data": map_data(shown, proposed),
    }
    return render(request, "program/stops_propose.html", context)


def _name(number: int) -> str:
    return said("Stop {number}", number=number)
