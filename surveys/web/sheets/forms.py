"""The form that starts a new sheet."""

import datetime as dt
from collections.abc import Mapping, Sequence

from django import forms
from django.utils.translation import gettext_lazy

from accounts.form_errors import Form
from accounts.models import Membership
from surveys.language import gettext
from surveys.models import Route
from surveys.protocol.nights import night_of
from surveys.visits.tonight import all_routes
from surveys.web.forms.fields import DateField
from surveys.web.seasons.forms import year_choices


class MyVisitsFilter(Form):
    """One season, or all of them."""

    season = forms.TypedChoiceField(
        label=gettext_lazy("Season"), required=False, coerce=int, empty_value=None
    )

    def __init__(self, data: Mapping[str, str], *, years: Sequence[int]):
        super().__init__(data)
        self.fields["season"].choices = [("", gettext("All seasons")), *year_choices(years)]

    @property
    def narrowing(self) -> dict[str, int]:
        """The season as a filter of visits; one that is not in the list is left out."""
        self.is_valid()
        year = self.cleaned_data.get("season")
        return {"season_year": year} if year else {}


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
