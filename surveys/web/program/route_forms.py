"""Forms for routes and their stops."""

import dataclasses
import datetime as dt
from collections.abc import Sequence

from django import forms
from django.forms import model_to_dict
from django.utils.translation import gettext_lazy

from accounts.form_errors import Form
from surveys.language import gettext
from surveys.models import (
    Habitat,
    Hydroperiod,
    Presence,
    Protocol,
    Route,
    RouteChoice,
    Stop,
)
from surveys.models.program import route_code_validator
from surveys.programs.places import read_place
from surveys.programs.stops import (
    DEGREE_PLACES,
    StopFacts,
)
from surveys.protocol.values import Place
from surveys.web.forms.fields import DateField
from surveys.web.forms.refusals import add_refusal
from surveys.web.forms.seen import SeenForm


class RouteForm(SeenForm):
    code = forms.CharField(
        max_length=20,
        validators=[route_code_validator],
        help_text=gettext_lazy("Short and permanent, such as R07. Every table and file uses it."),
    )
    name = forms.CharField(max_length=120)
    region = forms.CharField(
        max_length=120,
        required=False,
        help_text=gettext_lazy("County, district or reserve, for filters."),
    )
    stratum = forms.CharField(
        max_length=120,
        required=False,
        help_text=gettext_lazy(
            "If routes were drawn by strata: the kind of land, such as floodplain. For filters; "
            "weights go by region."
        ),
    )
    protocol = forms.TypedChoiceField(coerce=int)
    chosen = forms.ChoiceField(
        label=gettext_lazy("How the route was chosen"),
        choices=[("", gettext_lazy("Choose one")), *RouteChoice.choices],
        help_text=gettext_lazy(
            "Routes picked because species were heard there start at their best, so their trends "
            "lean downward. We flag such trends."
        ),
    )
    access_notes = forms.CharField(
        label=gettext_lazy("Access"),
        required=False,
        widget=forms.Textarea(attrs={"rows": 4}),
        help_text=gettext_lazy("Where to park, whose permission you need, what to watch for."),
    )
    active = forms.BooleanField(
        label=gettext_lazy("This route is surveyed"), required=False, initial=True
    )

    def __init__(
        self,
        *args: object,
        protocols: Sequence[Protocol],
        route: Route | None = None,
        **options: object,
    ) -> None:
        if route:
            options["initial"] = model_to_dict(route, fields=self.base_fields)
        super().__init__(*args, **options)
        self.fields["protocol"].choices = [(protocol.pk, protocol.name) for protocol in protocols]


def points_field(*, label: object, help_text: object) -> forms.CharField:
    """Places, one a line, which `route-line.js` shows on the map."""
    return forms.CharField(
        label=label,
        required=False,
        max_length=400_000,
        widget=forms.Textarea(attrs={"rows": 14, "spellcheck": "false", "autocomplete": "off"}),
        help_text=help_text,
    )


class LineForm(SeenForm):
    points = points_field(
        label=gettext_lazy("Points of the line"),
        help_text=gettext_lazy(
            "One point per line, latitude and longitude: 43.07310, -89.40120. Or paste "
            "GeoJSON with one LineString. Leave empty to remove the line."
        ),
    )


class PlaceForm(Form):
    """Two texts that become a place; the map fills them in, or they are typed."""

    latitude = forms.CharField(
        max_length=30,
        help_text=gettext_lazy(
            "Such as 43.07310 or 43° 04.386′ N. South has a minus sign or an S."
        ),
        widget=forms.TextInput(attrs={"inputmode": "text", "autocomplete": "off"}),
    )
    longitude = forms.CharField(
        max_length=30,
        help_text=gettext_lazy("Such as −89.40120 or 89° 24.072′ W. West has a minus sign or a W."),
        widget=forms.TextInput(attrs={"inputmode": "text", "autocomplete": "off"}),
    )

    def clean(self) -> dict[str, object]:
        cleaned = super().clean()
        if "latitude" in cleaned and "longitude" in cleaned:
            try:
                cleaned["place"] = read_place(cleaned["latitude"], cleaned["longitude"])
            except forms.ValidationError as refusal:
                add_refusal(self, refusal)
        return cleaned

    @property
    def place(self) -> Place:
        return self.cleaned_data["place"]


class HabitatForm(Form):
    """What is known of a stop."""

    name = forms.CharField(
        max_length=120, help_text=gettext_lazy("A landmark that observers find in the dark.")
    )
    road = forms.CharField(
        label=gettext_lazy("Nearest road and crossing"),
        max_length=120,
        required=False,
        help_text=gettext_lazy(
            "As you would tell a dispatcher: County Road 12, half a mile north of Mill Lane. "
            "Observers see it on the emergency card. It is never published."
        ),
    )
    county = forms.CharField(
        max_length=120, required=False, help_text=gettext_lazy("County, parish or district.")
    )
    habitat = forms.ChoiceField(choices=Habitat.choices, initial=Habitat.OTHER)
    hydroperiod = forms.ChoiceField(
        label=gettext_lazy("Holds water"), choices=Hydroperiod.choices, initial=Hydroperiod.UNKNOWN
    )
    fish = forms.ChoiceField(
        label=gettext_lazy("Fish in the water"), choices=Presence.choices, initial=Presence.UNKNOWN
    )
    last_burn = DateField(label=gettext_lazy("Last burn"), required=False)
    notes = forms.CharField(required=False, widget=forms.Textarea(attrs={"rows": 4}))

    @property
    def facts(self) -> StopFacts:
        return StopFacts(**{name: self.cleaned_data[name] for name in _FACTS})


_FACTS = [fact.name for fact in dataclasses.fields(StopFacts)]


def _facts_of(stop: Stop) -> dict[str, object]:
    return {name: getattr(stop, name) for name in _FACTS} | {
        "latitude": f"{stop.place.y:.{DEGREE_PLACES}f}",
        "longitude": f"{stop.place.x:.{DEGREE_PLACES}f}",
    }


class StopForm(SeenForm, HabitatForm, PlaceForm):
    """A stop to add, or one to correct (`stop`)."""

    number = forms.IntegerField(
        min_value=1,
        max_value=999,
        help_text=gettext_lazy("Stops are surveyed in the order of their numbers."),
    )
    active_from = DateField(
        label=gettext_lazy("First night"),
        help_text=gettext_lazy(
            "The stop can be surveyed from this night on. If you will import past visits, give "
            "the night of the first one."
        ),
    )
    field_order = ("number", "name", "latitude", "longitude", "active_from")

    def __init__(self, *args: object, stop: Stop | None = None, **options: object) -> None:
        if stop:
            options["initial"] = _facts_of(stop) | {
                "number": stop.number,
                "active_from": stop.active_from,
            }
        super().__init__(*args, **options)
        if stop and stop.was_surveyed:
            for name in ("number", "latitude", "longitude"):
                self.fields[name].disabled = True
                self.fields[name].help_text = gettext("Fixed, because visits have been made here.")


class CloseStopForm(Form):
    last_night = DateField(label=gettext_lazy("Last night on which it can be surveyed"))
    reason = forms.CharField(
        max_length=300,
        label=gettext_lazy("Why"),
        help_text=gettext_lazy("Such as: no longer a safe place to park."),
    )

    def __init__(self, *args: object, tonight: dt.date, **options: object) -> None:
        super().__init__(*args, initial={"last_night": tonight}, **options)


class CorrectPlaceForm(SeenForm, PlaceForm):
    """Where a stop always was; what is stored is the starting value."""

    reason = forms.CharField(
        max_length=300,
        label=gettext_lazy("Why the stored location is wrong"),
        help_text=gettext_lazy("Such as: two digits were swapped. It is kept with the stop."),
    )
    field_order = ("latitude", "longitude", "reason")

    def __init__(self, *args: object, stop: Stop, **options: object) -> None:
        facts = _facts_of(stop)
        initial = {name: facts[name] for name in ("latitude", "longitude")}
        super().__init__(*args, initial=initial, **options)


class MoveStopForm(HabitatForm, PlaceForm):
    """The new place of a stop; what is known of the old one is the starting value."""

    first_night = DateField(label=gettext_lazy("First night at the new place"))
    reason = forms.CharField(
        max_length=300,
        label=gettext_lazy("Why it moves"),
        help_text=gettext_lazy("It is kept with the old stop."),
    )
    field_order = ("first_night", "reason", "name", "latitude", "longitude")

    def __init__(self, *args: object, stop: Stop, tonight: dt.date, **options: object) -> None:
        initial = _facts_of(stop) | {"first_night": tonight, "notes": ""}
        super().__init__(*args, initial=initial, **options)
