"""Forms for a protocol version: its limits, and its season windows."""

import datetime as dt
from decimal import Decimal

from django import forms
from django.http import QueryDict

from surveys.models import Program
from surveys.models.fields import TEMPERATURE_UNITS
from surveys.protocol.values import (
    DistanceUnit,
    Interruption,
    Protocol,
    SeasonWindow,
    Temperature,
    TemperatureUnit,
)
from surveys.protocol.weather import (
    BEAUFORT,
    METERS_PER_FOOT,
    METERS_PER_MILE,
    NOISE_INDEX,
    SKY_CODES,
    plain_number,
)
from surveys.web.forms.fields import (
    DateField,
    MeasureField,
    MonthDayField,
)
from surveys.web.forms.seen import SeenForm

MOST_WINDOWS = 12
_INTERRUPTIONS = [
    (Interruption.PAUSE.value, "Stop the clock, then go on"),
    (Interruption.RESTART.value, "Begin again"),
    (Interruption.EXTEND.value, "Listen longer"),
]


def _minutes(**options: object) -> forms.DecimalField:
    return forms.DecimalField(**{"min_value": 0, "max_digits": 6, "decimal_places": 2, **options})


def _codes(none: str, words: dict[int, str]) -> list[tuple[str, str]]:
    return [("", none), *((str(code), f"{code}: {said}") for code, said in words.items())]


class LimitsForm(SeenForm):
    """The limits of a protocol in the program's units. Empty means: no such limit."""

    name = forms.CharField(max_length=120, help_text="Such as: Roadside, spring.")
    in_force_from = DateField(
        label="In force from", help_text="The first night that is surveyed under this version."
    )
    season_begins = MonthDayField(
        label="The season year begins on",
        help_text="A day on which no window is open. A season year is named after the calendar "
        "year in which it ends.",
    )
    earliest_start = forms.IntegerField(
        label="Earliest start",
        required=False,
        min_value=-600,
        max_value=600,
        help_text="Minutes after sunset; below zero for before sunset.",
    )
    latest_end_clock = forms.TimeField(
        label="Latest end, by the clock",
        required=False,
        widget=forms.TimeInput(format="%H:%M", attrs={"type": "time"}),
        help_text="May lie after midnight.",
    )
    latest_end_after_sunset = forms.IntegerField(
        label="Latest end, after sunset",
        required=False,
        min_value=0,
        max_value=1000,
        help_text="Minutes. Give this or the clock time, not both.",
    )
    settling_wait = _minutes(
        label="Settling wait",
        required=False,
        help_text="Minutes of quiet between arriving and listening.",
    )
    listening_time = _minutes(label="Listening time", help_text="Minutes at each stop.")
    longest_listening_time = _minutes(
        label="Longest listening time",
        required=False,
        help_text="Minutes; how far it may be stretched in noise.",
    )
    interruption = forms.ChoiceField(label="When a loud event interrupts", choices=_INTERRUPTIONS)
    max_beaufort = forms.TypedChoiceField(
        label="Strongest wind",
        required=False,
        coerce=int,
        empty_value=None,
        choices=_codes("No limit", {row.force: f"{row.name}, {row.sign}" for row in BEAUFORT}),
    )
    wet_sky_codes = forms.TypedMultipleChoiceField(
        label="Do not survey under these skies",
        required=False,
        coerce=int,
        choices=[(str(code), f"{code}: {said}") for code, said in SKY_CODES.items()],
        widget=forms.CheckboxSelectMultiple,
    )
    max_noise_index = forms.TypedChoiceField(
        label="Loudest noise",
        required=False,
        coerce=int,
        empty_value=None,
        choices=_codes("No limit", dict(NOISE_INDEX)),
    )
    min_stops = forms.IntegerField(label="Fewest stops on a visit", min_value=1, max_value=999)
    stops_in_order = forms.BooleanField(
        label="Stops are surveyed in the order of their numbers", required=False
    )
    min_days_between_visits = forms.IntegerField(
        label="Days between visits",
        required=False,
        min_value=0,
        max_value=366,
        help_text="Fewest days between two visits to a route.",
    )
    training_needed = forms.BooleanField(
        label="Observers need a record of training", required=False
    )
    source = forms.CharField(
        label="Where the limits come from",
        required=False,
        widget=forms.Textarea(attrs={"rows": 4}),
    )

    def __init__(
        self,
        *args: object,
        program: Program,
        limits: Protocol | None,
        in_force_from: dt.date,
        source: str = "",
        is_new_protocol: bool = False,
        **options: object,
    ) -> None:
        start = {"in_force_from": in_force_from, "source": source}
        super().__init__(*args, initial=start | _initial(limits), **options)
        self.base = limits
        miles = program.distance_unit == DistanceUnit.MILES
        long, short = ("miles", "feet") if miles else ("kilometers", "meters")
        self.fields |= {
            "min_stop_spacing": MeasureField(
                per_unit=float(METERS_PER_MILE) if miles else 1000.0,
                label="Fewest " + long + " between stops",
                required=False,
            ),
            "max_distance_from_stop": MeasureField(
                per_unit=float(METERS_PER_FOOT) if miles else 1.0,
                shown_places=0,
                label="Farthest from the stop",
                required=False,
                help_text=f"In {short}. How far a phone may be from the stop.",
            ),
            "max_drive": MeasureField(
                per_unit=float(METERS_PER_MILE) / 1000 if miles else 1.0,
                shown_places=0,
                min_value=1,
                label="Fastest drive between stops",
                help_text=f"In {long} an hour. Quicker arrivals are asked about.",
            ),
        }
        if not is_new_protocol:
            del self.fields["name"]

    def clean_listening_time(self) -> Decimal:
        typed = self.cleaned_data["listening_time"]
        if typed <= 0:
            raise forms.ValidationError("The listening time is longer than nothing.")
        return typed

    def _measure(self, name: str) -> float | None:
        if name not in self.changed_data:
            return self.initial.get(name)
        return self.fields[name].stored(self.cleaned_data[name])

    def limits(self, windows: tuple[SeasonWindow, ...]) -> Protocol:
        """The protocol as typed. Only after `is_valid`."""
        facts = self.cleaned_data
        return Protocol(
            name=facts.get("name") or (self.base.name if self.base else ""),
            version=self.base.version if self.base else 1,
            season_year_begins=facts["season_begins"],
            windows=windows,
            settling_wait=_length(facts["settling_wait"]),
            listening_time=_length(facts["listening_time"]),
            longest_listening_time=_length(facts["longest_listening_time"]),
            interruption=Interruption(facts["interruption"]),
            earliest_start_after_sunset=_length(facts["earliest_start"]),
            latest_end_clock=facts["latest_end_clock"],
            latest_end_after_sunset=_length(facts["latest_end_after_sunset"]),
            min_stops=facts["min_stops"],
            stops_in_order=facts["stops_in_order"],
            min_stop_spacing_m=self._measure("min_stop_spacing"),
            max_beaufort=facts["max_beaufort"],
            wet_sky_codes=frozenset(facts["wet_sky_codes"]),
            max_noise_index=facts["max_noise_index"],
            min_days_between_visits=facts["min_days_between_visits"],
            max_distance_from_stop_m=self._measure("max_distance_from_stop"),
            max_drive_kmh=self._measure("max_drive"),
            training_needed=facts["training_needed"],
        )


def _length(minutes: Decimal | int | None) -> dt.timedelta | None:
    return None if minutes is None else dt.timedelta(seconds=round(minutes * 60))


def _shown_minutes(length: dt.timedelta | None) -> str | None:
    if length is None:
        return None
    minutes = Decimal(round(length.total_seconds())) / 60
    return plain_number(minutes.quantize(Decimal("0.01"))).replace("−", "-")


def _initial(limits: Protocol | None) -> dict[str, object]:
    if limits is None:
        return {"min_stops": 1, "stops_in_order": True, "max_drive": 100.0}
    return {
        "name": limits.name,
        "season_begins": limits.season_year_begins,
        "earliest_start": _shown_minutes(limits.earliest_start_after_sunset),
        "latest_end_clock": limits.latest_end_clock,
        "latest_end_after_sunset": _shown_minutes(limits.latest_end_after_sunset),
        "settling_wait": _shown_minutes(limits.settling_wait),
        "listening_time": _shown_minutes(limits.listening_time),
        "longest_listening_time": _shown_minutes(limits.longest_listening_time),
        "interruption": limits.interruption.value,
        "max_beaufort": limits.max_beaufort,
        "wet_sky_codes": sorted(limits.wet_sky_codes),
        "max_noise_index": limits.max_noise_index,
        "min_stops": limits.min_stops,
        "stops_in_order": limits.stops_in_order,
        "min_days_between_visits": limits.min_days_between_visits,
        "training_needed": limits.training_needed,
        "min_stop_spacing": limits.min_stop_spacing_m,
        "max_distance_from_stop": limits.max_distance_from_stop_m,
        "max_drive": limits.max_drive_kmh,
    }


class WindowForm(forms.Form):
    """One season window. An empty form among filled ones is left out."""

    name = forms.CharField(max_length=60)
    opens = MonthDayField(label="Opens on")
    closes = MonthDayField(label="Closes on")
    min_air_temperature = forms.DecimalField(
        label="Lowest air temperature", required=False, max_digits=5, decimal_places=2
    )
    min_water_temperature = forms.DecimalField(
        label="Lowest water temperature", required=False, max_digits=5, decimal_places=2
    )
    temperature_unit = forms.ChoiceField(label="Temperatures in", choices=TEMPERATURE_UNITS)

    def __init__(self, *args: object, unit: str, **options: object) -> None:
        super().__init__(*args, **options)
        self.fields["temperature_unit"].initial = unit

    def window(self) -> SeasonWindow:
        facts = self.cleaned_data
        unit = TemperatureUnit(facts["temperature_unit"])
        air, water = facts["min_air_temperature"], facts["min_water_temperature"]
        return SeasonWindow(
            name=facts["name"],
            opens=facts["opens"],
            closes=facts["closes"],
            min_air_temperature=None if air is None else Temperature(value=air, unit=unit),
            min_water_temperature=None if water is None else Temperature(value=water, unit=unit),
        )


class BaseWindowFormSet(forms.BaseFormSet):
    def add_fields(self, form: WindowForm, index: int | None) -> None:
        super().add_fields(form, index)
        form.fields["DELETE"].label = "Leave this window out"

    def windows(self) -> tuple[SeasonWindow, ...]:
        """The windows as typed, in the order of the forms. Only after `is_valid`."""
        return tuple(
            form.window()
            for form in self.forms
            if not form.cleaned_data.get("DELETE")
            and (form.has_changed() or not form.empty_permitted)
        )


def _formset(extra: int) -> type[BaseWindowFormSet]:
    return forms.formset_factory(
        WindowForm,
        formset=BaseWindowFormSet,
        extra=extra,
        can_delete=True,
        max_num=MOST_WINDOWS,
        validate_max=True,
        absolute_max=MOST_WINDOWS,
    )


def window_formset(
    data: QueryDict | None, *, limits: Protocol | None, program: Program
) -> BaseWindowFormSet:
    """The windows of `limits` to change, or one empty form when there are none."""
    windows = limits.windows if limits else ()
    initial = [_window_initial(window, program) for window in windows]
    formset = _formset(extra=0 if initial else 1)
    unit = {"temperature_unit": program.temperature_unit}
    return formset(
        data,
        initial=initial or [unit],
        prefix="windows",
        form_kwargs={"unit": program.temperature_unit},
    )


def with_one_more(data: QueryDict, program: Program) -> QueryDict:
    """Posted data with room for another window."""
    more = data.copy()
    total = data.get("windows-TOTAL_FORMS", "")
    number = int(total) if total.isdecimal() else 0
    if number < MOST_WINDOWS:
        more["windows-TOTAL_FORMS"] = str(number + 1)
        more[f"windows-{number}-temperature_unit"] = program.temperature_unit
    return more


def _window_initial(window: SeasonWindow, program: Program) -> dict[str, object]:
    air, water = window.min_air_temperature, window.min_water_temperature
    set_in = air or water
    return {
        "name": window.name,
        "opens": window.opens,
        "closes": window.closes,
        "min_air_temperature": air and air.value,
        "min_water_temperature": water and water.value,
        "temperature_unit": set_in.unit.value if set_in else program.temperature_unit,
    }
