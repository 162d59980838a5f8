"""Fields that several forms share: dates, days of the year, measures in the user's unit."""

import datetime as dt
from decimal import Decimal

from django import forms
from django.utils.translation import gettext_lazy

from surveys.language import gettext, said
from surveys.protocol.seasons import last_day
from surveys.protocol.values import MonthDay
from surveys.protocol.words import MONTHS

_LEAP_YEAR = 2024


class DateField(forms.DateField):
    """A date, typed or picked; the browser sends it as 2025-04-15."""

    default_error_messages = {
        "invalid": gettext_lazy(
            "“%(value)s” is not a date. Write it as year-month-day, such as 2025-04-15."
        ),
        "required": gettext_lazy("Give a date."),
    }

    def __init__(self, **options: object) -> None:
        widget = forms.DateInput(format="%Y-%m-%d", attrs={"type": "date"})
        super().__init__(**{"widget": widget, **options})

    def to_python(self, value: object) -> dt.date | None:
        try:
            return super().to_python(value)
        except forms.ValidationError as refusal:
            refusal.params = {"value": value}
            raise


class MonthDayWidget(forms.MultiWidget):
    """Day and month side by side."""

    template_name = "program/month_day.html"
    use_fieldset = True

    def __init__(self, attrs: dict[str, object] | None = None) -> None:
        months = [
            ("", gettext("Month")),
            *((str(n), name) for n, name in enumerate(MONTHS, start=1)),
        ]
        day = forms.NumberInput(
            attrs={"min": 1, "max": 31, "aria-label": "Day", "inputmode": "numeric"}
        )
        super().__init__(
            {"day": day, "month": forms.Select({"aria-label": gettext("Month")}, months)}, attrs
        )

    def decompress(self, value: MonthDay | None) -> list[int | None]:
        return [value.day, value.month] if value else [None, None]


class MonthDayField(forms.MultiValueField):
    """A day of the year without a year. Cleans to a MonthDay, or None when left empty."""

    widget = MonthDayWidget
    default_error_messages = {
        "required": gettext_lazy("Give a day and a month."),
        "incomplete": gettext_lazy("Give both the day and the month."),
    }

    def __init__(self, **options: object) -> None:
        fields = (
            forms.IntegerField(
                error_messages={"invalid": gettext("The day is a number, such as 15.")}
            ),
            forms.TypedChoiceField(
                coerce=int, choices=[(str(number), number) for number in range(1, 13)]
            ),
        )
        super().__init__(fields=fields, **{"require_all_fields": False, **options})
        for field in fields:
            field.required = False

    def compress(self, values: list[object]) -> MonthDay | None:
        day, month = values or (None, None)
        if not day and not month:
            return None
        if not day or not month:
            raise forms.ValidationError(self.error_messages["incomplete"], code="incomplete")
        longest = last_day(_LEAP_YEAR, MonthDay(month=int(month), day=31)).day
        if not 1 <= day <= longest:
            raise forms.ValidationError(
                said(
                    "{month} has the days 1 to {longest}, not {day}.",
                    month=MONTHS[int(month) - 1],
                    longest=longest,
                    day=day,
                )
            )
        return MonthDay(month=int(month), day=int(day))


class MeasureField(forms.DecimalField):
    """A measure that is stored in one unit and typed in another.

    One typed unit is `per_unit` stored units. A value left as it was rendered counts as
    unchanged, so that rounding never alters the stored value.
    """

    def __init__(self, *, per_unit: float, shown_places: int = 2, **options: object) -> None:
        self.per_unit = per_unit
        self.shown_places = shown_places
        super().__init__(**{"min_value": 0, **options})

    def shown(self, stored: float) -> str:
        text = f"{stored / self.per_unit:.{self.shown_places}f}"
        return text.rstrip("0").rstrip(".") if "." in text else text

    def prepare_value(self, value: object) -> object:
        return self.shown(float(value)) if isinstance(value, int | float) else value

    def has_changed(self, initial: float | None, data: object) -> bool:
        rendered = "" if initial is None else self.shown(initial)
        return super().has_changed(Decimal(rendered) if rendered else None, data)

    def stored(self, typed: Decimal | None) -> float | None:
        return None if typed is None else float(typed) * self.per_unit
