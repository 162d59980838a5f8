"""What to ask of the surveys. Numbers start where the surveys are today."""

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy

from accounts.form_errors import Form
from surveys.language import said_of
from surveys.models import Program
from surveys.seasons.options import checklist_species

YEARS = (5, 10, 15, 20)
FALLS = [(fall, f"{fall}%") for fall in (10, 20, 30, 50)]


class PowerForm(Form):
    species = forms.ChoiceField(label=gettext_lazy("Species"))
    fall = forms.TypedChoiceField(
        label=gettext_lazy("A decline of"), choices=FALLS, coerce=int, initial=30
    )
    years = forms.TypedChoiceField(label=gettext_lazy("Within"), coerce=int, initial=10)
    routes = forms.IntegerField(
        label=gettext_lazy("Routes"),
        min_value=2,
        max_value=400,
        help_text=gettext_lazy("From 2 to 400."),
    )
    visits = forms.IntegerField(
        label=gettext_lazy("Visits per year in its calling season"),
        min_value=1,
        max_value=8,
        help_text=gettext_lazy("To each route, from 1 to 8."),
    )

    def __init__(self, data: Any = None, *, program: Program, **options: Any) -> None:
        super().__init__(data, **options)
        self.checklist = {species.code: species for species in checklist_species(program)}
        self.fields["years"].choices = [
            (years, said_of("{number} year", "{number} years", years)) for years in YEARS
        ]
        self.fields["species"].choices = [
            (code, species.name) for code, species in self.checklist.items()
        ]
