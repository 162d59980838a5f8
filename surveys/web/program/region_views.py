"""What each region counts in what is told of the whole program."""

from collections.abc import Sequence
from decimal import Decimal

from django import forms
from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_http_methods

from accounts.access import Permission, ProgramRequest, needs
from surveys.language import gettext, said
from surveys.models import Program
from surveys.programs.region_weights import (
    field_of,
    regions_of,
    typed,
    weigh_regions,
    weight_facts,
)
from surveys.web.forms.refusals import run_verb
from surveys.web.forms.seen import SeenForm


class WeightsForm(SeenForm):
    """A weight for each region, and what the weights are."""

    weights_are = forms.CharField(
        label=gettext_lazy("What the weights are"),
        max_length=120,
        required=False,
        help_text=gettext_lazy(
            "With their unit, such as: wetlands on the state map of 2020, or area in square miles."
        ),
    )

    def __init__(self, *args: object, program: Program, regions: Sequence[str]) -> None:
        initial = {
            field_of(region): typed(program.region_weights.get(region)) for region in regions
        }
        super().__init__(*args, initial={"weights_are": program.weights_are, **initial})
        self.regions = regions
        for region in regions:
            self.fields[field_of(region)] = forms.DecimalField(
                label=said("Weight of {region}", region=region),
                help_text=program.weights_are,
                required=False,
                min_value=0,
                max_digits=12,
                decimal_places=3,
            )

    @property
    def weights(self) -> dict[str, Decimal | None]:
        return {region: self.cleaned_data[field_of(region)] for region in self.regions}


@require_http_methods(["GET", "POST"])
@needs(Permission.MANAGE)
def weights(request: ProgramRequest) -> HttpResponse:
    program = request.membership.program
    regions = regions_of(program)
    form = WeightsForm(
        request.POST if request.method == "POST" else None, program=program, regions=regions
    )
    form.show(weight_facts(program))
    if (
        request.method == "POST"
        and form.is_valid()
        and run_verb(
            form,
            weigh_regions,
            request.membership,
            form.weights,
            weights_are=form.cleaned_data["weights_are"],
            seen=form.seen,
        )
    ):
        messages.success(request, gettext("The weights of the regions are saved."))
        return redirect("web:program_routes", program=program.slug)
    context = {
        "section": "routes",
        "form": form,
        "regions": regions,
        "nowhere": program.routes.filter(region="").order_by("code"),
    }
    return render(request, "program/regions.html", context)
