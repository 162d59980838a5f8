"""Latitudes and longitudes as people write them: decimal degrees, degrees and minutes, degrees,
minutes and seconds, with a sign or with N, S, E, W."""

from __future__ import annotations

import enum
import math
import re
from dataclasses import dataclass

from surveys.language import gettext_noop as _
from surveys.language import said

_LONGEST = 60
_QUOTED = 40
_DEGREES = r"(?:deg(?:rees?)?|[°º˚d])"
_MINUTES = r"(?:min(?:utes?)?|[′'’‘´`m])"
_SECONDS = r"(?:sec(?:onds?)?|''|′′|’’|[″\"”“s])"
_NUMBER = r"(?:\d+(?:\.\d*)?|\.\d+)"
_NUMBERS = re.compile(
    rf"(?P<degrees>{_NUMBER})(?:\s*(?:{_DEGREES}|:)\s*|\s+|$)"
    rf"(?:(?P<minutes>{_NUMBER})(?:\s*(?:{_MINUTES}|:)\s*|\s+|$)"
    rf"(?:(?P<seconds>{_NUMBER})\s*{_SECONDS}?)?)?",
    re.IGNORECASE,
)
# In front, or behind; `23s` behind minutes is seconds, and `23sS` is south.
_LETTER = re.compile(r"^([NSEW])(?![A-Z])\s*|\s*(?:(?<![A-Z])|(?<=\ds))([NSEW])$", re.IGNORECASE)
_SECONDS_AT_END = re.compile(r".*[dm:'′’]\s*[\d.]+\s*s", re.IGNORECASE)
_DASHES = str.maketrans({"−": "-", "–": "-", "‐": "-", "‑": "-", "\u00a0": " ", "\u202f": " "})


class Axis(enum.Enum):
    LATITUDE = "latitude"
    LONGITUDE = "longitude"

    @property
    def bound(self) -> int:
        return 90 if self is Axis.LATITUDE else 180

    @property
    def letters(self) -> str:
        """The letters of the positive and of the negative half."""
        return "NS" if self is Axis.LATITUDE else "EW"


class CoordinateError(ValueError):
    """A text that is not a coordinate: a marked sentence and its values."""

    def __init__(self, message: str, /, **values: object) -> None:
        super().__init__(message)
        self.message = message
        self.values = values

    def __str__(self) -> str:
        return said(self.message, **self.values)


@dataclass(frozen=True, kw_only=True)
class _Written:
    """One coordinate taken apart: sign, letter and one to three numbers."""

    minus: bool
    letter: str
    numbers: tuple[str, ...]


def read_degrees(text: str, axis: Axis) -> float:
    """Degrees, south and west negative. Raises CoordinateError."""
    written = _taken_apart(text)
    if written is None:
        raise CoordinateError(
            _(
                "“{text}” is not a number of degrees. Write 43.07310, 43° 04.386′ N or "
                "43° 04′ 23.2″ N; without a letter, south and west have a minus sign."
            ),
            text=_quote(text),
        )
    if written.letter and written.letter not in axis.letters:
        raise CoordinateError(
            _("“{text}” is not a {name}. Are latitude and longitude swapped?"),
            text=_quote(text),
            name=axis.value,
        )
    if written.minus and written.letter == axis.letters[0]:
        raise CoordinateError(
            _("“{text}” has a minus sign and the letter {letter}. Keep the right one of them."),
            text=_quote(text),
            letter=written.letter,
        )
    degrees = _degrees(written.numbers, text)
    if degrees > axis.bound:
        raise _outside(text, degrees, axis)
    negative = written.minus or written.letter == axis.letters[1]
    return -degrees if negative and degrees else degrees


def read_pair(text: str) -> tuple[str, str]:
    """The latitude and the longitude in one cell, each still as text, latitude first unless the
    letters say otherwise. Raises CoordinateError."""
    halves = _halves(" ".join(text.translate(_DASHES).split()))
    if halves is None:
        raise CoordinateError(
            _(
                "“{text}” is not a latitude and a longitude. Write both with a comma between "
                "them, such as 43.07310, -89.40120."
            ),
            text=_quote(text),
        )
    first, second = halves
    return (second, first) if _letter(first) in ("E", "W") else (first, second)


# Ways to tell where the first coordinate ends, the surest first.
_BETWEEN = tuple(
    re.compile(pattern, re.IGNORECASE)
    for pattern in (
        r"(.+?)\s*[;|]\s*(.+)",
        r"([NS].*?[^\s,])[\s,]*([EW].*)",
        r"([EW].*?[^\s,])[\s,]*([NS].*)",
        r"(.*\d\W*[NS])[\s,]*([+-]?\d.*[EW])",
        r"(.*\d\W*[EW])[\s,]*([+-]?\d.*[NS])",
        r"([^,]+),\s+([^,]+)",
        r"(\S+)\s+(\S+)",
        r"([^,]+),([^,]+)",
    )
)


def _halves(text: str) -> tuple[str, str] | None:
    if len(text) > 2 * _LONGEST:
        return None
    found = next(filter(None, (pattern.fullmatch(text) for pattern in _BETWEEN)), None)
    return (found[1], found[2]) if found else None


def _letter(text: str) -> str:
    if text.endswith("s") and _SECONDS_AT_END.fullmatch(text):
        return ""
    found = _LETTER.search(text.strip())
    return (found[1] or found[2]).upper() if found else ""


def _taken_apart(text: str) -> _Written | None:
    typed = " ".join(text.translate(_DASHES).split())
    if not typed or len(typed) > _LONGEST:
        return None
    letter = _letter(typed)
    if letter:
        typed = _LETTER.sub("", typed, count=1).strip()
    minus = typed.startswith("-")
    typed = typed[1:].strip() if typed[:1] in ("+", "-") else typed
    found = _NUMBERS.fullmatch(_with_points(typed))
    # Digits of other scripts would pass as digits.
    if found is None or not typed.isprintable() or re.search(r"(?![0-9])\d", typed):
        return None
    numbers = tuple(number for number in found.groups() if number is not None)
    return _Written(minus=minus, letter=letter, numbers=numbers)


def _with_points(typed: str) -> str:
    """A single comma between digits is a decimal comma."""
    if typed.count(",") == 1 and "." not in typed:
        return re.sub(r"(?<=\d),(?=\d)", ".", typed)
    return typed


def _degrees(numbers: tuple[str, ...], text: str) -> float:
    if any("." in number for number in numbers[:-1]):
        raise CoordinateError(
            _("“{text}” has a fraction before its last number. Write only the last one with it."),
            text=_quote(text),
        )
    values = [float(number) for number in numbers]
    if any(value >= 60 for value in values[1:]):
        raise CoordinateError(
            _("“{text}” has 60 or more minutes or seconds. Check the numbers."), text=_quote(text)
        )
    return math.fsum(value / 60.0**place for place, value in enumerate(values))


def _outside(text: str, degrees: float, axis: Axis) -> CoordinateError:
    if degrees > 1000:
        return CoordinateError(
            _(
                "{text} is not in degrees. It looks like meters of a map grid, such as UTM: "
                "export the file with latitude and longitude (WGS 84)."
            ),
            text=_quote(text),
        )
    if axis is Axis.LATITUDE and degrees <= Axis.LONGITUDE.bound:
        return CoordinateError(
            _(
                "{text} is not on the globe: a latitude is between −90 and 90. Are latitude and "
                "longitude swapped?"
            ),
            text=_quote(text),
        )
    return CoordinateError(
        _("{text} is not on the globe: a {name} is between −{bound} and {bound}."),
        text=_quote(text),
        name=axis.value,
        bound=axis.bound,
    )


def _quote(text: str) -> str:
    shown = " ".join(text.split())
    return shown if len(shown) <= _QUOTED else f"{shown[:_QUOTED]}…"
