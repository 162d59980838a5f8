"""Reads the text of one cell. Each reader raises CellError with a message for the observer."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable, Collection, Iterable, Mapping
from decimal import Decimal
from functools import lru_cache
from typing import TypeVar

from surveys.dates import DateError, read_date
from surveys.language import gettext, said
from surveys.protocol import params
from surveys.protocol.params import Param
from surveys.protocol.telling import Reader, Told, tell_sentence
from surveys.protocol.values import (
    Rain,
    RainUnit,
    Temperature,
    TemperatureUnit,
)
from surveys.protocol.weather import Words, to_celsius

FIRST_YEAR, LAST_YEAR = 1900, 2199
# A temperature beyond these cannot be a measurement in the open: it is a slip of the pen.
POSSIBLE_CELSIUS = (Decimal(-90), Decimal(100))

_MISSING = frozenset({"", "-", "–", "—", "t", "n/a", "na"})
_NUMBER = re.compile(r"[+-]?[0-9]{1,9}(?:[.,][0-9]{1,9})?|[+-]?[.,][0-9]{1,9}")
_UNIT = re.compile(r"(.*?)\s*(?:°|º|deg)?\s*([cf])", re.IGNORECASE)
_RAIN = re.compile(r"(.*?)\s*(mm|in|inch|inches|\")", re.IGNORECASE)
_TRACE = frozenset({"t", "tr", "trace"})
# More rain than this in two days is a slip of the pen or of the unit.
_MOST_RAIN = {RainUnit.MILLIMETERS: 2000, RainUnit.INCHES: 80}
_YES = frozenset({"yes", "y", "true", "1"})
_NO = frozenset({"no", "n", "false", "0"})
_MAX_QUOTE_LENGTH = 40
# Letters that tell a word from a slip of the pen.
_SHORTEST_WORD = 3


class CellError(ValueError):
    """A cell that cannot be read: the reading rule that says so, and what its sentence in
    `surveys/protocol/sentences/cells.py` is filled with."""

    def __init__(self, code: str, variant: str = "", **params: Param) -> None:
        super().__init__(code, variant)
        self.code = code
        self.variant = variant
        self.params = params

    def __str__(self) -> str:
        return self.message

    @property
    def message(self) -> str:
        return self._in_words.message

    @property
    def remedy(self) -> str:
        return self._in_words.remedy

    @property
    def _in_words(self) -> Told:
        return tell_sentence(self.code, self.variant, self.params, Reader())


def unreadable(kind: str, text: str, **params: Param) -> CellError:
    return CellError("cell-unreadable", kind, typed=shortened(text), **params)


# The sheets of an archive say the same few texts over and over.
@lru_cache(maxsize=4096)
def is_missing(text: str) -> bool:
    """Whether nothing was written down: blank, a dash, `T` or n/a."""
    return text.strip().casefold() in _MISSING


def rain_is_missing(text: str) -> bool:
    """Whether no rain was written down. `T` is a trace of rain, which is an answer."""
    return is_missing(text) and not is_trace(text)


def is_trace(text: str) -> bool:
    """Whether it is written down that too little rain fell to measure."""
    return text.strip().casefold() in _TRACE


def shortened(text: str) -> str:
    """The text on one line, abbreviated, as a message quotes it."""
    line = " ".join(text.split())
    return line[:_MAX_QUOTE_LENGTH] + "…" if len(line) > _MAX_QUOTE_LENGTH else line


def quoted(text: str) -> str:
    """The text on one line, abbreviated, in quotation marks."""
    return said("“{text}”", text=shortened(text))


@lru_cache(maxsize=1024)
def read_number(text: str) -> Decimal:
    """A decimal number with comma or point: `12.5`, `12,5`, `−3`."""
    return _number(text, text)


def _number(digits: str, text: str) -> Decimal:
    """The number in `digits`; an error message quotes `text`, the whole cell."""
    typed = digits.strip().replace("−", "-").replace("–", "-")
    if not _NUMBER.fullmatch(typed):
        raise unreadable("number", text)
    return Decimal(typed.replace(",", "."))


def read_integer(text: str) -> int:
    """A whole number, including `3.0`, of any size."""
    number = read_number(text)
    if number != number.to_integral_value():
        raise unreadable("integer", text)
    return int(number)


def read_person(text: str, known: Collection[int]) -> int:
    """The id of one of the `known` people."""
    typed = text.strip()
    if typed.isascii() and typed.isdecimal() and int(typed[:20]) in known:
        return int(typed)
    raise unreadable("person", text)


def number_between(text: str, low: int, high: int) -> Decimal:
    return _within(read_number(text), text, low, high)


def integer_between(text: str, low: int, high: int) -> int:
    return int(_within(Decimal(read_integer(text)), text, low, high))


def _within(number: Decimal, text: str, low: int, high: int) -> Decimal:
    if not low <= number <= high:
        raise CellError("cell-out-of-range", typed=shortened(text), low=low, high=high)
    return number


def read_temperature(text: str, unit: TemperatureUnit) -> Temperature:
    """A temperature in the sheet's unit, unless the cell names its own: `54 °F`, `12,5C`."""
    digits = text
    if match := _UNIT.fullmatch(text.strip()):
        digits, unit = match[1], TemperatureUnit(match[2].upper())
    reading = Temperature(value=_number(digits, text), unit=unit)
    coldest, hottest = POSSIBLE_CELSIUS
    if not coldest <= to_celsius(reading) <= hottest:
        raise CellError("cell-out-of-range", "temperature", reading=params.temperature(reading))
    return reading


def read_unit(text: str) -> TemperatureUnit:
    typed = text.strip().lstrip("°").upper()
    if typed[:1] in ("C", "F") and typed in ("C", "F", "CELSIUS", "FAHRENHEIT"):
        return TemperatureUnit(typed[0])
    raise unreadable("temperature-unit", text)


def read_rain(text: str, unit: RainUnit) -> Rain:
    """Rain in the sheet's unit, unless the cell names its own: `0.5`, `12,5 mm`, `0.5 in`;
    `T` is a trace."""
    digits = text
    if match := _RAIN.fullmatch(text.strip()):
        digits = match[1]
        unit = RainUnit.MILLIMETERS if match[2].lower() == "mm" else RainUnit.INCHES
    if is_trace(digits):
        return Rain(amount=None, unit=unit)
    amount = _number(digits, text)
    most = _MOST_RAIN[unit]
    if not 0 <= amount <= most:
        raise CellError(
            "cell-out-of-range", "rain", typed=shortened(text), most=most, unit=unit.value
        )
    return Rain(amount=amount, unit=unit)


def read_rain_unit(text: str) -> RainUnit:
    typed = text.strip().casefold()
    if typed in ("in", "inch", "inches", '"'):
        return RainUnit.INCHES
    if typed in ("mm", "millimeter", "millimeters"):
        return RainUnit.MILLIMETERS
    raise unreadable("rain-unit", text)


def read_yes_no(text: str) -> bool:
    typed = text.strip().casefold()
    if typed in _YES or typed in _NO:
        return typed in _YES
    raise unreadable("yes-no", text)


def read_choice(text: str, choices: Iterable[str]) -> str:
    allowed = tuple(choices)
    typed = text.strip().casefold().replace(" ", "_")
    if typed in allowed:
        return typed
    choices = params.any_of(params.word(choice) for choice in allowed)
    raise unreadable("choice", text, choices=choices)


State = TypeVar("State", bound=str)


def read_state(
    text: str,
    words: Mapping[State, Words],
    codes: Mapping[str, State],
    param: Callable[[State], Param],
) -> State:
    """A state by a code of the protocol, by its key or by its name or the beginning of it, in
    English or the reader's language: `2`, `light_rain`, `Light rain`, `over`."""
    if (coded := state_of_code(text, codes)) is not None:
        return coded
    typed = " ".join(re.split(r"[\s_-]+", text.strip().casefold()))
    names = {state: (told.name, gettext(told.name).casefold()) for state, told in words.items()}
    for state, own in names.items():
        if typed in (state.replace("_", " "), *own):
            return state
    begun = [state for state, own in names.items() if any(name.startswith(typed) for name in own)]
    if len(begun) == 1 and len(typed) >= _SHORTEST_WORD:
        return begun[0]
    choices = params.any_of(
        params.any_of((param(state), *(code for code, coded in codes.items() if coded == state)))
        for state in words
    )
    raise unreadable("choice", text, choices=choices)


def state_of_code(text: str, codes: Mapping[str, State]) -> State | None:
    """What a code of the protocol stands for, if the text is one; `3.0` is the code 3."""
    typed = text.strip().casefold().removesuffix(".0")
    return next((state for code, state in codes.items() if code.casefold() == typed), None)


def read_text(text: str, max_length: int | None = None) -> str:
    typed = text.strip()
    if max_length is not None and len(typed) > max_length:
        raise CellError("cell-too-long", length=len(typed), most=max_length)
    return typed


def read_night(text: str) -> dt.date:
    """The date of the evening: `2024-04-15`, `15 April 2024` or `April 15, 2024`. One such as
    `4/3/2024` is refused: what it means would change with the settings of the program."""
    try:
        night = read_date(text)
    except DateError as error:
        raise unreadable(error.variant, text) from None
    if not FIRST_YEAR <= night.year <= LAST_YEAR:
        raise CellError("cell-out-of-range", "date", typed=shortened(text))
    return night
