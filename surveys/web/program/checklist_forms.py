"""Form for how a species is listed."""

import datetime as dt

from django import forms
from django.utils.translation import gettext_lazy

from accounts.form_errors import Form
from surveys.language import gettext
from surveys.models import (
    ChecklistEntry,
    Sensitivity,
)
from surveys.programs.checklist import (
    Listing,
)
from surveys.programs.regional import RegionalSeason
from surveys.web.forms.fields import (
    DateField,
    MonthDayField,
)
from surveys.web.forms.seen import SeenForm


class ListingForm(SeenForm):
    calls_from = MonthDayField(
        label=gettext_lazy("Calls from"),
        required=False,
        help_text=gettext_lazy(
            "Leave both empty if it may call at any time. A season can cross New Year."
        ),
    )
    calls_to = MonthDayField(label=gettext_lazy("Calls until"), required=False)
    sensitivity = forms.TypedChoiceField(
        coerce=int,
        choices=Sensitivity.choices,
        initial=Sensitivity.OPEN,
        help_text=gettext_lazy("How much locations are blurred when data leave the program."),
    )
    listed_from = DateField(
        label=gettext_lazy("Listed from"),
        required=False,
        help_text=gettext_lazy(
            "From this night on, a silent stop counts as a zero. Give no night before observers "
            "listened for it. Leave empty if it was listed from the start."
        ),
    )
    listed_until = DateField(label=gettext_lazy("Listed until"), required=False)

    def __init__(
        self,
        *args: object,
        entry: ChecklistEntry | None = None,
        offered: RegionalSeason | None = None,
        **options: object,
    ) -> None:
        """`offered` is what a new entry begins with."""
        if offered and offered.season:
            begins, ends = offered.season
            options["initial"] = {**options["initial"], "calls_from": begins, "calls_to": ends}
        if entry:
            begins, ends = entry.calling_season or (None, None)
            options["initial"] = {
                "calls_from": begins,
                "calls_to": ends,
                "sensitivity": entry.sensitivity,
                "listed_from": entry.listed_from,
                "listed_until": entry.listed_until,
            }
        super().__init__(*args, **options)

    def clean(self) -> dict[str, object]:
        cleaned = super().clean()
        if self.errors:
            return cleaned
        if bool(cleaned["calls_from"]) != bool(cleaned["calls_to"]):
            missing = "calls_to" if cleaned["calls_from"] else "calls_from"
            self.add_error(missing, gettext("Give both ends of the season, or leave both empty."))
        return cleaned

    @property
    def listing(self) -> Listing:
        facts = self.cleaned_data
        begins, ends = facts["calls_from"], facts["calls_to"]
        return Listing(
            season=(begins, ends) if begins and ends else None,
            sensitivity=facts["sensitivity"],
            listed_from=facts["listed_from"],
            listed_until=facts.get("listed_until"),
        )


class RegionForm(Form):
    """Which species of the region are put on the list, and from which night on."""

    species = forms.MultipleChoiceField(
        error_messages={"required": gettext_lazy("Check the species that observers listen for.")}
    )
    listed_from = DateField(
        label=gettext_lazy("Listed from"),
        required=False,
        help_text=gettext_lazy(
            "From this night on, a silent stop counts as a zero for these species. Give no night "
            "before observers listened for them. Leave empty if they were listed from the start."
        ),
    )

    def __init__(
        self, *args: object, offered: list[RegionalSeason], first: dt.date | None, **options: object
    ) -> None:
        codes = [one.species.code for one in offered]
        super().__init__(*args, initial={"species": codes, "listed_from": first}, **options)
        self.fields["species"].choices = [(one.species.code, one.species.name) for one in offered]


class TakeOffForm(SeenForm):
    listed_until = DateField(
        label=gettext_lazy("Last night on the list"),
        help_text=gettext_lazy("Visits up to this night keep their zeros for this species."),
    )

    def __init__(self, *args: object, today: dt.date, **options: object) -> None:
        super().__init__(*args, initial={"listed_until": today}, **options)
