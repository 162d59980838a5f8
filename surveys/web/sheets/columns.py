"""The columns of the sheet's grid: what is asked at each stop, and with which keys it is typed."""

import datetime as dt
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from django.utils.translation import gettext_lazy

from surveys.dates import time_of_day
from surveys.language import gettext, said
from surveys.models import Species, WaterTonight
from surveys.protocol.own_fields import AskedPer, FieldKind, OwnField
from surveys.protocol.values import PeriodStatus, Protocol, RainUnit
from surveys.protocol.weather import NOISE, SKY, Words

Options = tuple[tuple[str, str], ...]
Codes = Mapping[str, str]

YES_NO: Options = (("yes", gettext_lazy("Yes")), ("no", gettext_lazy("No")))
STATUS: Options = (
    (PeriodStatus.LISTENED.value, gettext_lazy("Surveyed")),
    (PeriodStatus.SKIPPED.value, gettext_lazy("Skipped")),
)
FOLDS: Options = (("first", gettext_lazy("first time")), ("second", gettext_lazy("second time")))
RAIN_UNITS: Options = (
    (RainUnit.INCHES.value, gettext_lazy("inches")),
    (RainUnit.MILLIMETERS.value, "mm"),
)


@dataclass(frozen=True, kw_only=True)
class Column:
    """A column of the grid. `field` is the part of the cell address after the stop. `keys` are
    those that a keyboard of digits lacks; keys.js puts them beside the cell, and only it then asks
    for `keyboard`."""

    field: str
    heading: str
    css: str = ""
    options: Options = ()
    hint: str = ""
    codes: Codes = field(default_factory=dict)
    keyboard: str = ""
    keys: str = ""


def own_options(field: OwnField) -> Options:
    return YES_NO if field.kind is FieldKind.YES_NO else field.choices


def own_typed(field: OwnField) -> dict[str, str]:
    """The keyboard of a number, with a minus where the number may want one."""
    if not field.kind.is_number:
        return {}
    digits = "numeric" if field.kind is FieldKind.WHOLE else "decimal"
    return {"keyboard": digits, "keys": "" if field.low is not None and field.low >= 0 else "-"}


def _own_columns(fields: Iterable[OwnField]) -> tuple[Column, ...]:
    css = {FieldKind.CHOICE: "sheet__choice", FieldKind.YES_NO: "sheet__choice"}
    return tuple(
        Column(
            field=field.cell,
            heading=field.heading,
            options=own_options(field),
            css=css.get(field.kind, "sheet__text" if field.kind is FieldKind.TEXT else ""),
            **own_typed(field),
        )
        for field in fields
        if field.per is AskedPer.STOP
    )


def state_options(words: Mapping[str, Words], codes: Mapping[str, str]) -> Options:
    """States in words, after the protocol's own code, so that typing it chooses the state."""
    own = {state: [code for code, coded in codes.items() if coded == state] for state in words}
    return tuple(
        (state, " ".join((*own[state], gettext(told.name)))) for state, told in words.items()
    )


def stop_columns(
    species: Iterable[Species], *, unit: str, protocol: Protocol, own_fields: Iterable[OwnField]
) -> tuple[Column, ...]:
    water = (
        Column(
            field="water_temperature",
            heading=said("Water °{unit}", unit=unit),
            **degrees_typed(unit),
        ),
    )
    index_keys = "?" if protocol.listening_radius_m is None else "near far ?"
    return (
        Column(
            field="status",
            heading=gettext("Surveyed or skipped"),
            css="sheet__choice sheet__status",
            options=STATUS,
        ),
        *(
            Column(
                field=field,
                heading=heading,
                css="sheet__clock",
                hint=_hint(minute),
                **_clock_typed(),
            )
            for field, heading, minute in (
                ("arrived_at", gettext("Arrived"), 14),
                ("started_at", gettext("Start"), 15),
                ("finished_at", gettext("End"), 20),
            )
        ),
        Column(
            field="interrupted", heading=gettext("Interrupted"), options=YES_NO, css="sheet__choice"
        ),
        Column(field="paused_minutes", heading=gettext("Pause, min"), keyboard="decimal"),
        Column(
            field="air_temperature",
            heading=said("Air °{unit}", unit=unit),
            **degrees_typed(unit),
        ),
        *(water if protocol.asks_water_temperature else ()),
        Column(field="beaufort", heading=gettext("Wind"), keyboard="numeric"),
        Column(
            field="sky",
            heading=gettext("Sky"),
            css="sheet__choice",
            options=state_options(SKY, protocol.sky_codes),
            codes=protocol.sky_codes,
        ),
        Column(
            field="noise",
            heading=gettext("Noise"),
            css="sheet__choice",
            options=state_options(NOISE, protocol.noise_codes),
            codes=protocol.noise_codes,
        ),
        *(
            Column(
                field=f"calls.{kind.code}",
                heading=kind.name,
                css="sheet__index",
                keyboard="numeric",
                keys=index_keys,
            )
            for kind in species
        ),
        Column(
            field="water_tonight",
            heading=gettext("Water level"),
            options=tuple(WaterTonight.choices),
            css="sheet__choice",
        ),
        *_own_columns(own_fields),
        Column(field="skip_reason", heading=gettext("If skipped, why"), css="sheet__text"),
        Column(field="note", heading=gettext("Note"), css="sheet__text"),
    )


def degrees_typed(unit: str) -> dict[str, str]:
    """The digits of some phones come without a minus, which degrees Celsius may want."""
    return {"keyboard": "decimal", "keys": "" if unit == "F" else "-"}


def _clock_typed() -> dict[str, str]:
    """2114 is read as 21:14, so digits do; am and pm need letters."""
    has_halves = time_of_day(dt.time(21, 14)).endswith("m")
    return {"keyboard": "numeric", "keys": "am pm" if has_halves else ""}


def _hint(minute: int) -> str:
    return time_of_day(dt.time(21, minute))
