"""Fields that several forms share: files, dates, days of the year, measures in the user's unit."""

import datetime as dt
from decimal import Decimal

from django import forms
from django.utils.translation import gettext_lazy

from surveys import dates
from surveys.dates import MONTHS, DateOrder
from surveys.language import gettext, said
from surveys.protocol.nights import ClockError, parse_clock
from surveys.protocol.seasons import last_day
from surveys.protocol.values import MonthDay

_LEAP_YEAR = 2024
_EXAMPLE = dt.date(2025, 4, 15)


class UploadedFileField(forms.FileField):
    """A file of at most so many bytes. `too_large` says so, and what to do about it; what else is
    wrong with the file, an empty one among them, is told by whoever reads it."""

    def __init__(self, *, accept: str, most_bytes: int, too_large: str, **options: object) -> None:
        self.most_bytes, self.too_large = most_bytes, too_large
        widget = forms.FileInput(attrs={"accept": accept})
        super().__init__(**{"widget": widget, "allow_empty_file": True, **options})

    def clean(self, data: object, initial: object = None) -> object:
        file = super().clean(data, initial)
        if file and file.size > self.most_bytes:
            raise forms.ValidationError(self.too_large)
        return file


class DateField(forms.DateField):
    """A date. A browser that picks it sends 2025-04-15; one that lets it be typed sends what was
    typed, in the order of the program or with the name of the month."""

    default_error_messages = {
        "invalid": gettext_lazy("“%(value)s” is not a date. Write it as %(example)s."),
        "required": gettext_lazy("Give a date."),
    }

    def __init__(self, **options: object) -> None:
        widget = forms.DateInput(format="%Y-%m-%d", attrs={"type": "date"})
        super().__init__(**{"widget": widget, **options})

    def to_python(self, value: object) -> dt.date | None:
        typed = value.strip() if isinstance(value, str) else value
        if typed in self.empty_values:
            return None
        if isinstance(typed, dt.date):
            return typed
        try:
            return dates.read_date(str(typed), dates.style().order)
        except dates.DateError:
            example = said(
                "{digits} or {day}", digits=dates.in_digits(_EXAMPLE), day=dates.day(_EXAMPLE)
            )
            raise forms.ValidationError(
                self.error_messages["invalid"],
                code="invalid",
                params={"value": value, "example": example},
            ) from None


class TimeField(forms.TimeField):
    """A clock time, typed with 12 or 24 hours."""

    default_error_messages = {
        "invalid": gettext_lazy("“%(value)s” is not a clock time. Write it as 9:14 pm or 21:14."),
    }

    def __init__(self, **options: object) -> None:
        widget = forms.TimeInput(format="%H:%M", attrs={"type": "time"})
        super().__init__(**{"widget": widget, **options})

    def to_python(self, value: object) -> dt.time | None:
        typed = value.strip() if isinstance(value, str) else value
        if typed in self.empty_values:
            return None
        if isinstance(typed, dt.time):
            return typed
        try:
            return parse_clock(str(typed))
        except ClockError:
            raise forms.ValidationError(
                self.error_messages["invalid"], code="invalid", params={"value": value}
            ) from None


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
            attrs={"min": 1, "max": 31, "aria-label": gettext("Day"), "inputmode": "numeric"}
        )
        super().__init__(
            {"day": day, "month": forms.Select({"aria-label": gettext("Month")}, months)}, attrs
        )

    def get_context(self, *args: object) -> dict[str, object]:
        context = super().get_context(*args)
        if dates.style().order is not DateOrder.DAY_FIRST:
            context["widget"]["subwidgets"].reverse()
        return context

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
