"""The form that starts a new sheet."""

import datetime as dt
from collections.abc import Mapping, Sequence
from typing import Any

from django import forms
from django.db.models import QuerySet
from django.utils.translation import gettext_lazy

from accounts.form_errors import Form
from accounts.models import Membership
from surveys.language import gettext
from surveys.models import CallIndex, Route, Species, Visit
from surveys.protocol.nights import night_of
from surveys.visits.tonight import all_routes
from surveys.web.forms.fields import DateField
from surveys.web.seasons.forms import year_choices


class MyVisitsFilter(Form):
    """One season, one route, one species that was heard, or all of them."""

    season = forms.TypedChoiceField(
        label=gettext_lazy("Season"), required=False, coerce=int, empty_value=None
    )
    route = forms.ChoiceField(label=gettext_lazy("Route"), required=False)
    species = forms.ChoiceField(label=gettext_lazy("Heard"), required=False)

    def __init__(self, data: Mapping[str, str], *, visits: Sequence[QuerySet[Visit]]):
        """`visits` are those that the page lists."""
        super().__init__(data)
        columns = ("pk", "season_year", "route__code", "route__name")
        rows = [row for some in visits for row in some.order_by().values_list(*columns)]
        years = sorted({row[1] for row in rows})
        routes = sorted({(code, f"{code} {name}") for *_, code, name in rows})
        heard = CallIndex.objects.filter(period__visit__in=[row[0] for row in rows], index__gte=1)
        species = Species.objects.filter(pk__in=heard.values("species")).order_by("common_name")
        self.fields["season"].choices = [("", gettext("All seasons")), *year_choices(years)]
        self.fields["route"].choices = [("", gettext("All routes")), *routes]
        self.fields["species"].choices = [
            ("", gettext("All species")),
            *((one.code, one.name) for one in species),
        ]

    @property
    def is_of_use(self) -> bool:
        """Whether there is anything to choose between."""
        return any(len(field.choices) > 2 for field in self.fields.values())

    @property
    def chosen_route(self) -> tuple[str, str] | None:
        """Its code, and its code and name."""
        self.is_valid()
        code = self.cleaned_data.get("route")
        return (code, dict(self.fields["route"].choices)[code]) if code else None

    @property
    def narrowing(self) -> dict[str, Any]:
        """What is chosen as filters of visits; what is not in the lists is left out."""
        self.is_valid()
        filters: dict[str, Any] = {}
        if year := self.cleaned_data.get("season"):
            filters["season_year"] = year
        if code := self.cleaned_data.get("route"):
            filters["route__code"] = code
        if code := self.cleaned_data.get("species"):
            calls = CallIndex.objects.filter(species__code=code, index__gte=1)
            filters["pk__in"] = calls.values("period__visit")
        return filters


class NewSheetForm(Form):
    """Route and night. The rest is typed on the sheet itself."""

    route = forms.ModelChoiceField(
        Route.objects.none(),
        to_field_name="code",
        empty_label=gettext_lazy("Choose a route"),
        error_messages={
            "invalid_choice": gettext_lazy("The program has no such route. Choose one.")
        },
    )
    night = DateField(
        label=gettext_lazy("Night (date of the evening)"),
        help_text=gettext_lazy(
            "Use the date on which the evening began, even if you finished after midnight."
        ),
    )

    def __init__(self, *args: object, member: Membership, now: dt.datetime, **kwargs: object):
        super().__init__(*args, **kwargs)
        self.tonight = night_of(now, member.program.time_zone)
        self.fields["route"].queryset = all_routes(member)
        self.fields["night"].initial = self.tonight

    def clean_night(self) -> dt.date:
        night = self.cleaned_data["night"]
        if night > self.tonight:
            raise forms.ValidationError(gettext("This night is in the future. Check the date."))
        return night
