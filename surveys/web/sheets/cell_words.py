"""A cell of a stored sheet in words: where it is, and what it says.

A phone stores keys, instants and the night as 2024-04-15. They are shown as the phone and the paper
sheet show them; what a person typed is shown as typed.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Mapping

from django.utils.translation import gettext_lazy

from surveys import dates
from surveys.language import gettext, said
from surveys.models import LifeStage, WaterTonight
from surveys.protocol.own_fields import CELL
from surveys.protocol.weather import NOISE, SKY
from surveys.web.sheets.columns import FOLDS, RAIN_UNITS, STATUS, YES_NO

_ENDS = {"start": gettext_lazy("At the start"), "end": gettext_lazy("At the end")}
_EVENING = {
    "night": gettext_lazy("Night"),
    "temperature_unit": gettext_lazy("Temperatures are in"),
    "rain_unit": gettext_lazy("Rain is in"),
    "second_member": gettext_lazy("Second observer, a member"),
    "second_observer": gettext_lazy("Second observer, a guest"),
    "notes": gettext_lazy("Notes"),
    "rain_48h": gettext_lazy("Rain in the past 48 hours"),
}
_PARTS = {
    "status": gettext_lazy("surveyed or skipped"),
    "skip_reason": gettext_lazy("why skipped"),
    "arrived_at": gettext_lazy("arrived"),
    "started_at": gettext_lazy("start"),
    "finished_at": gettext_lazy("end"),
    "paused_minutes": gettext_lazy("pause in minutes"),
    "air_temperature": gettext_lazy("air temperature"),
    "water_temperature": gettext_lazy("water temperature"),
    "beaufort": gettext_lazy("wind force"),
    "sky": gettext_lazy("sky"),
    "noise": gettext_lazy("noise"),
    "interrupted": gettext_lazy("interrupted"),
    "water_tonight": gettext_lazy("water level"),
    "note": gettext_lazy("note"),
    "latitude": gettext_lazy("latitude"),
    "longitude": gettext_lazy("longitude"),
    "accuracy_m": gettext_lazy("accuracy in meters"),
    "stop": gettext_lazy("stop"),
    "species": gettext_lazy("species"),
    "life_stage": gettext_lazy("life stage"),
    "count": gettext_lazy("count"),
    "color_form": gettext_lazy("color form"),
}
_ANSWERS: Mapping[str, Mapping[str, str]] = {
    "status": dict(STATUS),
    "sky": {state: told.name for state, told in SKY.items()},
    "noise": {effect: told.name for effect, told in NOISE.items()},
    "interrupted": dict(YES_NO),
    "water_tonight": dict(WaterTonight.choices),
    "life_stage": dict(LifeStage.choices),
    "fold": dict(FOLDS),
    "rain_unit": dict(RAIN_UNITS),
    "temperature_unit": {"C": "°C", "F": "°F"},
}
_CLOCK = re.compile(r"[0-9]{2}:[0-9]{2}(:[0-9]{2})?")
_INSTANT = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9:.]+(Z|[+-][0-9]{2}:[0-9]{2})")


def person_key(text: str) -> str:
    """Under which the names of cells hold the person whose id a cell says."""
    return f"person {text.strip()}"


def place_words(address: str, names: Mapping[str, str]) -> str:
    """`Stop 3, start`; `Stop 3, Spring Peeper`; `Sighting 2, count`; `At the end, sky`.

    `names` leads from codes of species and cells of own fields to names.
    """
    head, _, rest = address.partition(".")
    if head in _ENDS and rest:
        return f"{_ENDS[head]}, {_part(rest)}"
    if head not in ("stops", "sightings"):
        return names.get(address) or str(_EVENING.get(address, address))
    number, _, field = rest.partition(".")
    if field.startswith("calls."):
        code = field.removeprefix("calls.")
        words = names.get(code, code)
    elif field.startswith(CELL):
        words = names.get(field, field)
    elif field.endswith(".fold"):
        words = said("{plain}, first or second", plain=_part(field.removesuffix(".fold")))
    else:
        words = _part(field)
    if head == "stops":
        return said("Stop {number}, {what}", number=number, what=words)
    return said("Sighting {number}, {what}", number=number, what=words)


def text_words(address: str, text: str, names: Mapping[str, str]) -> str:
    """The text of a cell as a reader knows it: `Apr 15, 2024`, `9:14:05 pm`, `light rain`."""
    field = address.rpartition(".")[2]
    if address == "night":
        return _night(text)
    if _INSTANT.fullmatch(text):
        return _instant(text)
    if field.endswith("_at") and _CLOCK.fullmatch(text):
        return _clock(text)
    if field == "species":
        return names.get(text, text)
    if address == "second_member":
        return names.get(person_key(text), text)
    known = _ANSWERS.get(field, {}).get(text)
    return gettext(known) if known else text


def _part(field: str) -> str:
    return str(_PARTS.get(field, field))


def _night(text: str) -> str:
    try:
        return dates.short_day(dt.date.fromisoformat(text))
    except ValueError:
        return text


def _instant(text: str) -> str:
    try:
        return dates.clock(dt.datetime.fromisoformat(text), seconds=True)
    except ValueError:
        return text


def _clock(text: str) -> str:
    try:
        return dates.time_of_day(dt.time.fromisoformat(text), seconds=text.count(":") > 1)
    except ValueError:
        return text
