"""Form for a field that the program adds to its sheets."""

import datetime as dt

from django import forms
from django.utils.translation import gettext_lazy

from surveys.language import said
from surveys.models import OwnField
from surveys.models.own_field import ASKED_PER, FIELD_KINDS
from surveys.programs.own_fields import MOST_CHOICES, Definition
from surveys.protocol.own_fields import AskedPer
from surveys.protocol.weather import plain_number
from surveys.web.forms.fields import DateField
from surveys.web.forms.seen import SeenForm

SPARE_CHOICES = 4
BY_KIND, YES, NO = "by_kind", "yes", "no"
PUBLISHED = (
    (BY_KIND, gettext_lazy("Yes, unless it is a text")),
    (YES, gettext_lazy("Yes")),
    (NO, gettext_lazy("No")),
)


class OwnFieldForm(SeenForm):
    label = forms.CharField(
        label=gettext_lazy("Name"),
        max_length=60,
        help_text=gettext_lazy("As on the sheet, such as “Salinity” or “Egg masses”."),
    )
    help = forms.CharField(
        label=gettext_lazy("Help"),
        max_length=200,
        required=False,
        help_text=gettext_lazy("One sentence for the observer: what to look at, how to measure."),
    )
    kind = forms.ChoiceField(label=gettext_lazy("Kind"), choices=FIELD_KINDS)
    per = forms.ChoiceField(
        label=gettext_lazy("Asked"), choices=ASKED_PER, initial=AskedPer.STOP.value
    )
    unit = forms.CharField(
        label=gettext_lazy("Unit"),
        max_length=20,
        required=False,
        help_text=gettext_lazy("For numbers, such as cm or ppt."),
    )
    low = forms.DecimalField(
        label=gettext_lazy("Lowest possible value"),
        max_digits=15,
        decimal_places=6,
        required=False,
        help_text=gettext_lazy("Lower values cannot be submitted."),
    )
    high = forms.DecimalField(
        label=gettext_lazy("Highest possible value"),
        max_digits=15,
        decimal_places=6,
        required=False,
        help_text=gettext_lazy("Higher values cannot be submitted."),
    )
    required = forms.BooleanField(
        label=gettext_lazy("Required: a blank becomes a question for you"), required=False
    )
    published = forms.ChoiceField(
        label=gettext_lazy("In publications and live records"),
        choices=PUBLISHED,
        help_text=gettext_lazy(
            "Text answers may hold names or places. Read them before you choose yes."
        ),
    )
    asked_from = DateField(
        label=gettext_lazy("First night it is asked"),
        required=False,
        help_text=gettext_lazy(
            "Sheets of earlier nights stay as they are. Leave empty if it was always asked."
        ),
    )
    asked_until = DateField(
        label=gettext_lazy("Last night it is asked"),
        required=False,
        help_text=gettext_lazy("What was recorded is kept. Leave empty while it is asked."),
    )

    def __init__(
        self,
        *args: object,
        field: OwnField | None = None,
        today: dt.date,
        **options: object,
    ) -> None:
        super().__init__(*args, initial=_initial(field) if field else {"asked_from": today})
        there = list(field.choices) if field else []
        for place in range(min(len(there) + SPARE_CHOICES, MOST_CHOICES)):
            self.fields[f"choice_{place}"] = forms.CharField(
                label=said("Choice {number}", number=place + 1),
                max_length=60,
                required=False,
                initial=there[place][1] if place < len(there) else "",
            )

    @property
    def choice_fields(self) -> list[forms.BoundField]:
        return [self[name] for name in self.fields if name.startswith("choice_")]

    @property
    def definition(self) -> Definition:
        typed = self.cleaned_data
        return Definition(
            label=" ".join(typed["label"].split()),
            help=typed["help"],
            kind=typed["kind"],
            per=typed["per"],
            unit=typed["unit"],
            low=typed["low"],
            high=typed["high"],
            choices=tuple(
                " ".join(typed[name].split()) for name in typed if name.startswith("choice_")
            ),
            required=typed["required"],
            published={YES: True, NO: False}.get(typed["published"]),
            asked_from=typed["asked_from"],
            asked_until=typed["asked_until"],
        )


def _initial(field: OwnField) -> dict[str, object]:
    numbers = {"low": field.low, "high": field.high}
    return {
        **{
            name: getattr(field, name)
            for name in ("label", "help", "kind", "per", "unit", "asked_from", "asked_until")
        },
        **{
            name: None if number is None else plain_number(number).replace("−", "-")
            for name, number in numbers.items()
        },
        "required": field.required_from is not None,
        "published": YES if field.published else NO,
    }
