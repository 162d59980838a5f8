"""Says a finding to a reader: code and parameters in, sentences in the reader's language out."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any

from surveys import dates
from surveys.language import Plural, filled, gettext, ngettext, said
from surveys.protocol import words
from surveys.protocol.archives import ALSO_AT
from surveys.protocol.params import Param
from surveys.protocol.plain import from_plain
from surveys.protocol.rules.table import RULE_SENTENCES, RULES_BY_CODE
from surveys.protocol.sentences.cells import CELL_SENTENCES
from surveys.protocol.sentences.sentence import Sentence, key_of
from surveys.protocol.sentences.vocabulary import CELLS, VOCABULARY
from surveys.protocol.values import (
    DistanceUnit,
    Finding,
    MonthDay,
    NoiseEffect,
    SkyState,
    Temperature,
    TemperatureUnit,
)
from surveys.protocol.weather import BEAUFORT, NOISE, SKY, show_temperature

SENTENCES: Mapping[str, Sentence] = {**RULE_SENTENCES, **CELL_SENTENCES}


@dataclass(frozen=True, kw_only=True)
class Reader:
    """Whom a finding is said to. `species` leads from codes to names in the reader's language."""

    time_zone: str = "UTC"
    temperature_unit: TemperatureUnit = TemperatureUnit.CELSIUS
    distance_unit: DistanceUnit = DistanceUnit.KILOMETERS
    species: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, kw_only=True)
class Told:
    """A finding in words."""

    message: str
    remedy: str


def tell(finding: Finding, reader: Reader) -> Told:
    return tell_sentence(finding.code, finding.variant, finding.params, reader)


def rule_in_words(code: str) -> str:
    """What the rule asks for; a reading rule has no summary, so its code in words."""
    rule = RULES_BY_CODE.get(code)
    return gettext(rule.summary) if rule else code.replace("-", " ").capitalize()


def note_in_words(note: str) -> str:
    """The note of a review step: where it begins with the code of a rule, with its words."""
    code = note.partition(":")[0].partition(" ")[0]
    rule = RULES_BY_CODE.get(code)
    if rule is None:
        return note
    return gettext(rule.summary).removesuffix(".") + note.removeprefix(code)


def tell_sentence(code: str, variant: str, params: Mapping[str, Param], reader: Reader) -> Told:
    """Raises KeyError for a code or a kind of parameter that has no words."""
    sentence = SENTENCES[key_of(code, variant)]
    values = {name: show(param, reader) for name, param in params.items()}
    message = filled(_translated(sentence.message, params), values)
    if "cell" in params:
        message = said("{cell}: {problem}", cell=values["cell"], problem=message)
    if ALSO_AT in params:
        message = said("{message} Also at {stops}.", message=message, stops=values[ALSO_AT])
    remedy = " ".join(filled(gettext(text), values) for text in sentence.remedy)
    return Told(message=message, remedy=remedy)


def show(param: Param, reader: Reader) -> str:
    """A parameter in words."""
    if isinstance(param, dict):
        ((kind, value),) = param.items()
        return _KINDS[kind](value, reader)
    return str(param)


def _translated(text: str | Plural, params: Mapping[str, Param]) -> str:
    if isinstance(text, Plural):
        return ngettext(text.singular, text.plural, params[text.by])
    return gettext(text)


def _instant(text: str) -> dt.datetime:
    return from_plain(dt.datetime, text)


def _seconds(number: float) -> dt.timedelta:
    return dt.timedelta(seconds=number)


def _celsius(text: str, reader: Reader) -> str:
    return words.number(show_temperature(Decimal(text), reader.temperature_unit))


def _place(place: int | str, reader: Reader) -> str:
    if isinstance(place, int):
        return said("at stop {stop}", stop=place)
    return gettext("at the end of the visit" if place == "end" else "at the start of the visit")


def _cell(cell: Mapping[str, Any], reader: Reader) -> str:
    """A cell by its name and the `stop`, the `row` of the sightings or the `end` it belongs to."""
    name = gettext(CELLS.get(cell["name"], cell["name"]))
    if "stop" in cell:
        return said("{cell} at stop {stop}", cell=name, stop=cell["stop"])
    if "row" in cell:
        return said("{cell} in row {row} of the sightings", cell=name, row=cell["row"])
    if cell.get("end") == "start":
        return said("{cell} at the start", cell=name)
    if cell.get("end") == "end":
        return said("{cell} at the end", cell=name)
    return name


def _window(window: Mapping[str, str], reader: Reader) -> str:
    days = _season((window["opens"], window["closes"]), reader)
    return said("{window} ({days})", window=window["name"], days=days)


def _season(days: tuple[str, str], reader: Reader) -> str:
    first, last = (from_plain(MonthDay, day) for day in days)
    return dates.span(first, last)


def _wind_sign(force: int, reader: Reader) -> str:
    return gettext(next((row.sign for row in BEAUFORT if row.force == force), ""))


def _word(key: str, reader: Reader) -> str:
    return gettext(VOCABULARY[key]) if key in VOCABULARY else key.replace("_", " ")


_KINDS: Mapping[str, Callable[[Any, Reader], str]] = {
    "clock": lambda value, reader: dates.clock(_instant(value), reader.time_zone),
    "clock_with_seconds": lambda value, reader: dates.clock(
        _instant(value), reader.time_zone, seconds=True
    ),
    "time_of_day": lambda value, reader: dates.time_of_day(dt.time.fromisoformat(value)),
    "duration_s": lambda value, reader: words.duration(_seconds(value)),
    "from_sunset_s": lambda value, reader: words.from_sunset(_seconds(value)),
    "date": lambda value, reader: dates.day(dt.date.fromisoformat(value)),
    "season": _season,
    "days": lambda value, reader: words.days(value),
    "times": lambda value, reader: words.times(value),
    "temperature": lambda value, reader: words.temperature(
        from_plain(Temperature, value), reader.temperature_unit
    ),
    "celsius": _celsius,
    "distance_m": lambda value, reader: words.distance(value, reader.distance_unit),
    "speed_kmh": lambda value, reader: words.speed(value, reader.distance_unit),
    "stops": lambda value, reader: words.stop_numbers(value),
    "place": _place,
    "cell": _cell,
    "species": lambda value, reader: reader.species.get(value, value),
    "sky": lambda value, reader: gettext(SKY[SkyState(value)].name),
    "noise": lambda value, reader: gettext(NOISE[NoiseEffect(value)].name),
    "wind_sign": _wind_sign,
    "word": _word,
    "window": _window,
    "quoted": lambda value, reader: said("“{text}”", text=value),
    "list": lambda value, reader: gettext(", ").join(show(item, reader) for item in value),
    "and": lambda value, reader: words.listed(show(item, reader) for item in value),
    "or": lambda value, reader: words.listed((show(item, reader) for item in value), last="or"),
}
