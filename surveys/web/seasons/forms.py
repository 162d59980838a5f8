"""Filters of Seasons and Trends. They are kept in the URL, so that a view can be shared."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy

from accounts.form_errors import Form
from surveys.language import gettext, said
from surveys.models import (
    Program,
    Species,
)
from surveys.programs.assignments import current_season_year
from surveys.seasons.options import (
    checklist_species,
    regions,
    strata,
)
from surveys.seasons.route_years import season_years, years_to_now

SPECIES_HEARD = "species"
MEASURES = (
    (SPECIES_HEARD, gettext_lazy("Species heard")),
    ("index", gettext_lazy("Highest call index")),
    ("stops", gettext_lazy("Stops with calls")),
    ("effort", gettext_lazy("Effort")),
)


@dataclass(frozen=True, kw_only=True)
class Filters:
    """The filters of a request; invalid values are left out. Only Seasons have a `stratum`."""

    species: Species | None = None
    region: str | None = None
    stratum: str | None = None
    first_year: int | None = None
    last_year: int | None = None
    measure: str = SPECIES_HEARD

    def narrowing(self) -> dict[str, Any]:
        """The filters that every query understands."""
        return {
            "species": self.species,
            "region": self.region,
            "first_year": self.first_year,
            "last_year": self.last_year,
        }


class TableFilter(Form):
    """Species, region and years."""

    species = forms.ChoiceField(label=gettext_lazy("Species"), required=False)
    region = forms.ChoiceField(label=gettext_lazy("Region"), required=False)
    since = forms.TypedChoiceField(
        label=gettext_lazy("From season"), required=False, coerce=int, empty_value=None
    )
    until = forms.TypedChoiceField(
        label=gettext_lazy("To season"), required=False, coerce=int, empty_value=None
    )

    def __init__(self, data: Any, *, program: Program) -> None:
        super().__init__(data)
        self.checklist = {species.code: species for species in checklist_species(program)}
        self.years = years_to_now(program)
        self.fields["species"].choices = [
            ("", gettext("All species")),
            *((code, species.name) for code, species in self.checklist.items()),
        ]
        _offer_regions(self, program)
        for name, words in (("since", gettext("First")), ("until", gettext("Last"))):
            self.fields[name].choices = [("", words), *year_choices(self.years)]

    def clean(self) -> dict[str, Any]:
        data = super().clean()
        since, until = data.get("since"), data.get("until")
        if since and until and since > until:
            self.add_error(
                "until",
                said("This ends before season {since}. Choose {since} or later.", since=since),
            )
        return data

    @property
    def filters(self) -> Filters:
        self.is_valid()
        data = self.cleaned_data
        return Filters(
            species=self.checklist.get(data.get("species")),
            region=data.get("region") or None,
            stratum=data.get("stratum") or None,
            first_year=data.get("since"),
            last_year=data.get("until"),
            measure=self._measure(data),
        )

    def _measure(self, data: dict[str, Any]) -> str:
        """How many species were heard tells nothing of one species: then it is the index."""
        asked = data.get("measure") or SPECIES_HEARD
        one_species = self.checklist.get(data.get("species")) is not None
        return "index" if one_species and asked == SPECIES_HEARD else asked


class PlacesFilter(TableFilter):
    """With the stratum of the routes."""

    stratum = forms.ChoiceField(label=gettext_lazy("Stratum"), required=False)
    field_order = ("species", "region", "stratum")

    def __init__(self, data: Any, *, program: Program) -> None:
        super().__init__(data, program=program)
        _offer_strata(self, program)


class SeasonsFilter(PlacesFilter):
    measure = forms.ChoiceField(
        label=gettext_lazy("In each cell"), choices=MEASURES, required=False
    )


class CoverageFilter(Form):
    """One season year, a region and a stratum."""

    year = forms.TypedChoiceField(
        label=gettext_lazy("Season"), required=False, coerce=int, empty_value=None
    )
    region = forms.ChoiceField(label=gettext_lazy("Region"), required=False)
    stratum = forms.ChoiceField(label=gettext_lazy("Stratum"), required=False)

    def __init__(self, data: Any, *, program: Program) -> None:
        self.current = current_season_year(program)
        years = (*season_years(program), self.current)
        # One without a visit is listed, too.
        years = range(min(years), max(years) + 1)
        # The form shows the selected year even when it is the default.
        super().__init__({"year": str(self.current), **{key: data[key] for key in data}})
        self.fields["year"].choices = year_choices(years)
        _offer_regions(self, program)
        _offer_strata(self, program)

    @property
    def season_year(self) -> int:
        self.is_valid()
        return self.cleaned_data.get("year") or self.current

    @property
    def places(self) -> dict[str, str | None]:
        """The region and the stratum that were chosen."""
        self.is_valid()
        return {name: self.cleaned_data.get(name) or None for name in ("region", "stratum")}


class VisitsFilter(TableFilter):
    """The drill-down: one route, window and season year, or any of them."""

    route = forms.CharField(required=False, widget=forms.HiddenInput)
    window = forms.CharField(required=False, widget=forms.HiddenInput)


def _offer_regions(form: forms.Form, program: Program) -> None:
    _offer(form, "region", gettext("All regions"), regions(program))


def _offer_strata(form: forms.Form, program: Program) -> None:
    _offer(form, "stratum", gettext("All strata"), strata(program))


def _offer(form: forms.Form, field: str, all_of_them: str, names: Sequence[str]) -> None:
    """Set the choices of a field, or drop it where the program has nothing to choose from."""
    form.fields[field].choices = [("", all_of_them), *((name, name) for name in names)]
    if not names:
        del form.fields[field]


def year_choices(years: Sequence[int]) -> list[tuple[int, str]]:
    return [(year, str(year)) for year in reversed(years)]
