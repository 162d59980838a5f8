"""A part of a recording: its times and pitches."""

from __future__ import annotations

from typing import Any

from django import forms
from django.template.defaultfilters import floatformat
from django.utils.translation import gettext_lazy

from accounts.form_errors import Form
from surveys.language import gettext, said

# As `surveys.sound` measures; it is imported only where sound is read.
SHORTEST_S, LONGEST_S = 0.1, 20.0
LOWEST_HZ, HIGHEST_HZ, NARROWEST_HZ = 150, 8000, 100


class PartForm(Form):
    begin_s = forms.FloatField(label=gettext_lazy("From"), min_value=0)
    end_s = forms.FloatField(label=gettext_lazy("To"), min_value=0)
    low_hz = forms.FloatField(
        label=gettext_lazy("Lowest pitch"), min_value=LOWEST_HZ, max_value=HIGHEST_HZ
    )
    high_hz = forms.FloatField(
        label=gettext_lazy("Highest pitch"), min_value=LOWEST_HZ, max_value=HIGHEST_HZ
    )

    def __init__(self, data: Any = None, *, seconds: float, **options: Any) -> None:
        initial = {
            "begin_s": 0,
            "end_s": round(min(seconds, LONGEST_S), 1),
            "low_hz": LOWEST_HZ,
            "high_hz": HIGHEST_HZ,
        }
        super().__init__(data, initial=initial, **options)
        self.seconds = seconds
        for name in ("begin_s", "end_s"):
            self.fields[name].help_text = said(
                "In seconds, from 0 to {seconds}.", seconds=floatformat(seconds, "-1")
            )
        for name in ("low_hz", "high_hz"):
            self.fields[name].help_text = said(
                "In Hz, from {low} to {high}.",
                low=floatformat(LOWEST_HZ, "0g"),
                high=floatformat(HIGHEST_HZ, "0g"),
            )

    def clean(self) -> dict[str, Any]:
        part = super().clean() or {}
        if {"begin_s", "end_s"} <= part.keys():
            self._check_times(part["begin_s"], part["end_s"])
        if {"low_hz", "high_hz"} <= part.keys() and part["high_hz"] - part["low_hz"] < NARROWEST_HZ:
            self.add_error(
                "high_hz",
                said("Choose at least {number} Hz above the lowest pitch.", number=NARROWEST_HZ),
            )
        return part

    def _check_times(self, begin_s: float, end_s: float) -> None:
        if begin_s > self.seconds - SHORTEST_S:
            self.add_error(
                "begin_s", gettext("The recording ends before this. Choose an earlier time.")
            )
        elif end_s - begin_s < SHORTEST_S:
            self.add_error(
                "end_s",
                said("Choose at least {seconds} seconds after the beginning.", seconds=SHORTEST_S),
            )
        elif end_s - begin_s > LONGEST_S:
            self.add_error(
                "end_s",
                said(
                    "At most {seconds} seconds are measured at once. Choose a shorter part.",
                    seconds=f"{LONGEST_S:.0f}",
                ),
            )
