"""What the pages of species and comparisons show. It all lives in the URL."""

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy

from accounts.form_errors import Form
from surveys.language import gettext, said
from surveys.models import Program, SiteKind
from surveys.seasons.options import checklist_species, regions

MOST_SERIES, SHOWN_AT_FIRST = 6, 3
BY = (
    ("species", gettext_lazy("Species")),
    ("region", gettext_lazy("Regions")),
    ("route", gettext_lazy("Routes")),
)


class PlaceFilter(Form):
    """Kind of site and region."""

    site = forms.ChoiceField(
        label=gettext_lazy("A site is"),
        choices=[
            (SiteKind.STOP, gettext_lazy("a stop")),
            (SiteKind.ROUTE, gettext_lazy("a whole route")),
        ],
        required=False,
    )
    region = forms.ChoiceField(label=gettext_lazy("Region"), required=False)

    def __init__(self, data: Any, *, program: Program) -> None:
        super().__init__(data)
        places = regions(program)
        self.fields["region"].choices = [
            ("", gettext("All regions")),
            *((place, place) for place in places),
        ]
        # With one region, all regions together are that region.
        if len(places) < 2:
            del self.fields["region"]

    @property
    def site_kind(self) -> str:
        self.is_valid()
        return self.cleaned_data.get("site") or SiteKind.STOP.value

    @property
    def place(self) -> str:
        self.is_valid()
        return self.cleaned_data.get("region") or ""


class CompareFilter(PlaceFilter):
    """Species, regions or routes side by side: at most as many as the eye can separate."""

    by = forms.ChoiceField(label=gettext_lazy("Compare"), choices=BY, required=False)
    species = forms.MultipleChoiceField(
        label=gettext_lazy("Species"), required=False, widget=forms.CheckboxSelectMultiple
    )
    route = forms.MultipleChoiceField(
        label=gettext_lazy("Routes"), required=False, widget=forms.CheckboxSelectMultiple
    )

    def __init__(self, data: Any, *, program: Program, with_routes: bool) -> None:
        super().__init__(data, program=program)
        self.checklist = {species.code: species for species in checklist_species(program)}
        self.routes = {route.code: route for route in program.routes.order_by("code")}
        offered = {"species": True, "region": "region" in self.fields, "route": with_routes}
        self.fields["by"].choices = [(key, words) for key, words in BY if offered[key]]
        self.fields["species"].choices = [
            (code, species.name) for code, species in self.checklist.items()
        ]
        self.fields["route"].choices = [(code, str(route)) for code, route in self.routes.items()]
        self.order_fields(["by", "species", "route", "site", "region"])
        if self.compared == "species":
            del self.fields["route"]
        else:
            self.fields["species"] = forms.ChoiceField(
                label=gettext("Species"), choices=self.fields["species"].choices, required=False
            )
            self.order_fields(["by", "species", "route", "site", "region"])
            self.fields.pop("region", None)
        if self.compared == "region":
            del self.fields["route"]
        if self.compared == "route":
            del self.fields["site"]
        self._check_what_is_shown()

    def _check_what_is_shown(self) -> None:
        """Without a choice the first few are shown; their boxes are checked."""
        for name, field in self.fields.items():
            if isinstance(field, forms.MultipleChoiceField) and not self.data.getlist(name):
                self.data = self.data.copy()
                self.data.setlist(name, [code for code, _ in field.choices[:SHOWN_AT_FIRST]])

    @property
    def compared(self) -> str:
        by = self.data.get("by", "")
        return by if by in dict(self.fields["by"].choices) else "species"

    def clean_species(self) -> list[str] | str:
        return self._at_most("species")

    def clean_route(self) -> list[str] | str:
        return self._at_most("route")

    def _at_most(self, name: str) -> list[str] | str:
        chosen = self.cleaned_data[name]
        if isinstance(chosen, list) and len(chosen) > MOST_SERIES:
            raise forms.ValidationError(
                said(
                    "You chose {chosen}. Choose at most {most_series}, so that the lines "
                    "stay readable.",
                    chosen=len(chosen),
                    most_series=MOST_SERIES,
                )
            )
        return chosen

    def chosen(self, name: str) -> list[str]:
        """Codes that were chosen; the first few when nothing was, or nothing that holds."""
        self.is_valid()
        values = self.cleaned_data.get(name) or []
        codes = [values] if isinstance(values, str) else values
        offered = list(self.checklist if name == "species" else self.routes)
        return codes or offered[: 1 if isinstance(values, str) else SHOWN_AT_FIRST]
