"""Fields that several forms share."""

import datetime as dt

import pytest
from django import forms

from surveys import dates
from surveys.dates import AMERICAN, DateOrder, DateStyle
from surveys.protocol.values import MonthDay
from surveys.protocol.weather import METERS_PER_MILE
from surveys.web.forms.fields import (
    DateField,
    MeasureField,
    MonthDayField,
    TimeField,
)


class Sample(forms.Form):
    day = MonthDayField(required=False)
    spacing = MeasureField(per_unit=float(METERS_PER_MILE), required=False)


def posted(day="", month="", spacing="", initial=None):
    data = {"day_day": day, "day_month": month, "spacing": spacing}
    return Sample(data, initial=initial)


@pytest.mark.parametrize(
    ("day", "month", "value"),
    [
        ("15", "12", MonthDay(month=12, day=15)),
        ("29", "2", MonthDay(month=2, day=29)),
        ("", "", None),
    ],
)
def test_month_days_are_read(day, month, value):
    form = posted(day, month)
    assert form.is_valid(), form.errors
    assert form.cleaned_data["day"] == value


@pytest.mark.parametrize(
    ("day", "month", "message"),
    [
        ("30", "2", "February has the days 1 to 29, not 30."),
        ("31", "4", "April has the days 1 to 30, not 31."),
        ("-1", "4", "April has the days 1 to 30, not -1."),
        ("15", "", "Give both the day and the month."),
        ("", "4", "Give both the day and the month."),
        ("mid", "4", "The day is a number, such as 15."),
    ],
)
def test_month_days_that_do_not_exist(day, month, message):
    form = posted(day, month)
    assert form.errors["day"] == [message]


def test_required_month_day():
    field = MonthDayField()
    with pytest.raises(forms.ValidationError, match="Give a day and a month"):
        field.clean(["", ""])


def test_measure_is_converted_between_units():
    form = posted(spacing="0.5", initial={"spacing": None})
    assert form.is_valid()
    field = form.fields["spacing"]
    assert field.stored(form.cleaned_data["spacing"]) == pytest.approx(804.672)
    assert field.shown(804.672) == "0.5"


@pytest.mark.parametrize(
    ("typed", "changed"), [("0.5", False), ("0.50", False), ("0.51", True), ("", True)]
)
def test_measure_left_as_rendered_is_unchanged(typed, changed):
    """800 m is shown as 0.5 mi: saving that must not make it 804.672 m."""
    form = posted(spacing=typed, initial={"spacing": 800.0})
    assert ("spacing" in form.changed_data) is changed


def test_invalid_date_explains_the_format():
    field = DateField()
    assert field.clean("2025-04-15") == dt.date(2025, 4, 15)
    with pytest.raises(forms.ValidationError) as refusal:
        field.clean("next week")
    assert refusal.value.messages == [
        "“next week” is not a date. Write it as 15/4/2025 or 15 April 2025."
    ]


def test_typed_dates_are_read_in_the_order_of_the_program():
    field = DateField()
    assert field.clean("3/12/2026") == dt.date(2026, 12, 3)
    with dates.using(AMERICAN):
        assert field.clean("3/12/2026") == dt.date(2026, 3, 12)
        with pytest.raises(forms.ValidationError, match=r"4/15/2025 or April 15, 2025"):
            field.clean("13/12/2026")
    with dates.using(DateStyle(order=DateOrder.YEAR_FIRST)), pytest.raises(forms.ValidationError):
        field.clean("3/12/2026")


@pytest.mark.parametrize("typed", ["9:45 pm", "21:45", "2145"])
def test_clock_times_are_read_in_either_form(typed):
    assert TimeField().clean(typed) == dt.time(21, 45)
    with pytest.raises(forms.ValidationError, match="Write it as 9:14 pm or 21:14"):
        TimeField().clean("late")
