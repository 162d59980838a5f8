"""Reads the English that findings were stored as before they were stored as parameters.

The sentences are those of that time and never change. Findings that refuse a visit are not among
them: a visit that has one cannot be submitted, so none was stored.
"""

import datetime as dt
import re
from dataclasses import dataclass
from zoneinfo import ZoneInfo

_MONTHS = (
    "January February March April May June July August September October November December"
).split()
_MONTH = "|".join(_MONTHS)
_DATE = rf"\d+ (?:{_MONTH}) \d{{4}}"
_MONTH_DAY = rf"\d+ (?:{_MONTH})"
_DEGREES = r"−?\d+(?:\.\d+)? °[CF]"
_UNITS_M = {"m": 1, "km": 1000, "ft": 0.3048, "mi": 1609.344}
_LEFT_OUT = object()


@dataclass(frozen=True)
class About:
    """The row that a finding is stored in."""

    code: str
    stop: int | None
    field: str
    species: str | None
    night: dt.date
    time_zone: str


class CannotTellError(Exception):
    """The words do not say which parameters they were made of."""


def _clock(text, about):
    hour, minute, *second = map(int, text.split(":"))
    day = about.night + dt.timedelta(days=hour < 12)
    zone = ZoneInfo(about.time_zone)
    local = dt.datetime.combine(day, dt.time(hour, minute, *second), tzinfo=zone)
    if local.replace(fold=0).utcoffset() != local.replace(fold=1).utcoffset():
        raise CannotTellError
    instant = local.astimezone(dt.UTC).isoformat().replace("+00:00", "Z")
    return {"clock_with_seconds" if second else "clock": instant}


def _seconds(text):
    units = {"h": 3600, "min": 60, "s": 1}
    return sum(int(number) * units[unit] for number, unit in re.findall(r"(\d+) (h|min|s)", text))


def _from_sunset(text, about):
    if text == "sunset":
        return {"from_sunset_s": 0}
    return {"from_sunset_s": _seconds(text) * (-1 if text.endswith("before sunset") else 1)}


def _iso(text):
    day, month, year = text.split()
    return dt.date(int(year), _MONTHS.index(month) + 1, int(day)).isoformat()


def _month_day(text):
    day, month = text.split()
    return f"{_MONTHS.index(month) + 1:02}-{int(day):02}"


def _season(text, about):
    return {"season": [_month_day(day) for day in text.split(" to ")]}


def _windows(text, about):
    pattern = rf"(.+?) \(({_MONTH_DAY}) to ({_MONTH_DAY})\)(?:, | and |$)"
    windows = re.findall(pattern, text)
    if sum(len(match.group(0)) for match in re.finditer(pattern, text)) != len(text):
        raise CannotTellError
    return {
        "and": [
            {"window": {"name": name, "opens": _month_day(first), "closes": _month_day(last)}}
            for name, first, last in windows
        ]
    }


def _items(text):
    return re.split(r", | and ", text)


def _meters(text):
    number, unit = text.split()
    return round(float(number) * _UNITS_M[unit], 1)


def _speed(text, about):
    number, unit = text.split()
    return {"speed_kmh": round(float(number) * (1.609344 if unit == "mph" else 1), 1)}


def _degrees(text):
    number, unit = text.split(" °")
    return {"value": number.replace("−", "-"), "unit": unit[0]}


def _celsius(text, about):
    reading = _degrees(text)
    if reading["unit"] == "C":
        return {"celsius": reading["value"]}
    return {"celsius": f"{(float(reading['value']) - 32) / 1.8:.2f}".rstrip("0").rstrip(".")}


_READINGS = {
    "air temperature": "air_temperature",
    "water temperature": "water_temperature",
    "wind force": "beaufort",
    "sky code": "sky",
    "noise index": "noise_index",
    "arrival": "arrived_at",
    "start of the listening": "started_at",
    "end of the listening": "finished_at",
}
_CLOCK = (r"\d\d:\d\d(?::\d\d)?", _clock)
_DURATION = (r"\d+ (?:h|min|s)(?: \d+ (?:min|s))*", lambda t, a: {"duration_s": _seconds(t)})
_DISTANCE = (r"[\d.]+ (?:m|km|ft|mi)", lambda t, a: {"distance_m": _meters(t)})
_NUMBER = (r"−?-?\d+", lambda t, a: int(t.replace("−", "-")))
_DAYS = (r"\d+ days?", lambda t, a: {"days": int(t.split()[0])})
_STOPS = (
    r"stops? [\d, and]+",
    lambda t, a: {"stops": [int(n) for n in re.findall(r"\d+", t)]},
)
_DAY = (_DATE, lambda t, a: {"date": _iso(t)})
_READING = ("|".join(_READINGS), lambda t, a: {"word": _READINGS[t]})
_NAME = (r".+?", lambda t, a: t)

# Places of the sentences, by name: how they read, and the parameter they were made of.
_PLACES = {
    "accuracy": _DISTANCE,
    "between": _DURATION,
    "busy": _NUMBER,
    "cells": (r"“[^“”]+”(?:(?:, | and )“[^“”]+”)*", lambda t, a: {"and": [{"quoted": q} for q in re.findall("“(.+?)”", t)]}),
    "code": _NUMBER,
    "distance": _DISTANCE,
    "earliest": _CLOCK,
    "end": _CLOCK,
    "fastest": (r"\d+ (?:km/h|mph)", _speed),
    "force": _NUMBER,
    "from": _NUMBER,
    "gap": _DAYS,
    "highest": (_DEGREES, _celsius),
    "kind": (r"air|water", lambda t, a: {"word": t}),
    "latest": _CLOCK,
    "length": _DURATION,
    "limit": (r"(?:[\dhmins ]+ (?:after|before) )?sunset", _from_sunset),
    "listened": _NUMBER,
    "longest": _DURATION,
    "lowest": (_DEGREES + rf"(?: \({_DEGREES}\))?", None),
    "missing": _READING,
    "most": _NUMBER,
    "nearest": _NUMBER,
    "night": _DAY,
    "noise": _NUMBER,
    "order": (r"[\d, and]+", lambda t, a: {"and": [int(n) for n in re.findall(r"\d+", t)]}),
    "other": _DAY,
    "others": (
        rf"{_DATE}(?:(?:, | and ){_DATE})*",
        lambda t, a: {"and": [{"date": _iso(day)} for day in _items(t)]},
    ),
    "pause": _DURATION,
    "place": (
        r"at stop \d+|at the start of the visit|at the end of the visit",
        lambda t, a: {"place": int(t[8:]) if "stop" in t else t.split()[2]},
    ),
    "reading": (_DEGREES, lambda t, a: {"temperature": _degrees(t)}),
    "season": (rf"{_MONTH_DAY} to {_MONTH_DAY}", _season),
    "side": (r"start|end", lambda t, a: {"word": t}),
    "sign": (r".+?", lambda t, a: _LEFT_OUT),
    "sky": (r".+?", lambda t, a: _LEFT_OUT),
    "species": (r".+?", lambda t, a: {"species": a.species}),
    "start": _CLOCK,
    "stop": _NUMBER,
    "stops": _STOPS,
    "to": _NUMBER,
    "typed": _NAME,
    "waited": _DURATION,
    "wanted": _DURATION,
    "window": _NAME,
    "windows": (r".+", _windows),
}
_TEMPERATURE = (
    _PLACES["lowest"][0],
    lambda t, a: {"temperature": _degrees(t.partition(" (")[0])},
)
# Where a place is of another kind in one sentence.
_PLACES_OF = {
    "far-from-stop": {"most": _DISTANCE},
    "stops-too-close": {"wanted": _DISTANCE},
    "too-few-stops": {"wanted": _NUMBER},
    "too-soon-after-last-visit": {"wanted": _DAYS},
    "temperature-implausible": {"lowest": (_DEGREES, _celsius)},
    "too-cold": {"lowest": _TEMPERATURE},
    "water-too-cold": {"lowest": _TEMPERATURE},
    **{
        code: {"reading": _READING}
        for code in (
            "temperature-missing",
            "water-temperature-missing",
            "wind-missing",
            "sky-missing",
            "noise-missing",
        )
    },
}
_UNKNOWN = {
    "": "Stop {stop} has no {reading}, so it cannot be told whether the limit was met.",
    "visit": "The visit has no {reading}, so it cannot be told whether the limit was met.",
    "side": "The {side} of the visit has no {reading}, nor have the stops, so it cannot be told"
    " whether the limit was met.",
}
# The messages by code and variant.
_SENTENCES = {
    "outside-window": {
        "": "The night of {night} is in no season window. The windows are {windows}."
    },
    "same-night-twice": {"": "This route already has a visit on the night of {night}."},
    "too-soon-after-last-visit": {
        "": "This visit is only {gap} from the one on the night of {other};"
        " the protocol asks for {wanted}."
    },
    "window-visited-before": {
        "": "The window “{window}” already has a visit of this route, on the night of {others}."
    },
    "observer-not-qualified": {
        "": "The protocol asks for a passed listening test, and none is on record for the"
        " observer of this visit."
    },
    "training-unknown": {
        "": "The protocol asks for a passed listening test, but no record of tests is kept, so it"
        " cannot be told whether the observer passed one."
    },
    "too-few-stops": {
        "": "{listened} (?:stop was|stops were) listened to; the protocol asks for at least"
        " {wanted}."
    },
    "stop-left-blank": {
        "": "Nothing is written down for {stops}. A blank stop counts as not surveyed, not as"
        " silent."
    },
    "stops-out-of-order": {
        "": "By their times the stops were surveyed in the order {order}; the protocol asks for"
        " the order of their numbers."
    },
    "far-from-stop": {
        "accuracy": "The position was measured {distance} (give or take {accuracy}) from stop"
        " {stop}; the protocol allows {most}.",
        "": "The position was measured {distance} from stop {stop}; the protocol allows {most}.",
    },
    "stops-too-close": {
        "": "Stops {nearest} and {stop} are {distance} apart; the protocol asks for {wanted}, so"
        " that the same callers are not counted twice."
    },
    "impossible-drive": {
        "": "From stop {from} to stop {to} it is {distance} in a straight line, and only {between}"
        " lie between: faster than {fastest}."
    },
    "times-missing": {
        "": "Stop {stop} has no time for the {missing}, so it cannot be told whether the times"
        " meet the protocol."
    },
    "wait-too-short": {
        "": "The wait before listening at stop {stop} was {waited}; the protocol asks for {wanted}."
    },
    "listening-too-short": {
        "pause": "The listening at stop {stop} took {length}, the pause of {pause} taken off; the"
        " protocol asks for {wanted}.",
        "": "The listening at stop {stop} took {length}; the protocol asks for {wanted}.",
    },
    "listening-too-long": {
        "": "The listening at stop {stop} took {length}; the protocol asks for no more than"
        " {longest}."
    },
    "pause-not-restarted": {
        "": "The listening at stop {stop} was paused for {pause}; after a loud event the protocol"
        " begins the listening again."
    },
    "before-dusk": {
        "": "The listening at stop {stop} starts at {start}; the earliest start is {earliest}"
        " ({limit})."
    },
    "after-last-hour": {
        "": "The listening at stop {stop} ends at {end}; the latest end is {latest}."
    },
    "sun-does-not-set": {
        "": "The sun does not set or does not rise here on this night ({stops}), so it cannot be"
        " told whether the hours meet the protocol."
    },
    "sunset-unknown": {
        "": "The sunset at {stops} is not known, so it cannot be told whether the hours meet the"
        " protocol."
    },
    "too-cold": {
        "": "{reading} {place} is below {lowest}, the lowest air temperature of the window"
        " “{window}”."
    },
    "water-too-cold": {
        "": "{reading} {place} is below {lowest}, the lowest water temperature of the window"
        " “{window}”."
    },
    "too-windy": {
        "": "Wind force {force} {place} is above {most} ({sign}), the strongest wind in which the"
        " protocol is run."
    },
    "wet-sky": {
        "": "With sky code {code} ({sky}) {place} the protocol is not run.",
        "no-words": "With sky code {code} {place} the protocol is not run.",
    },
    "noise-too-loud": {
        "": "Noise index {noise} at stop {stop} is above {most}, the most that the protocol allows."
    },
    "temperature-missing": _UNKNOWN,
    "water-temperature-missing": _UNKNOWN,
    "wind-missing": _UNKNOWN,
    "sky-missing": _UNKNOWN,
    "noise-missing": _UNKNOWN,
    "temperature-implausible": {
        "": "{reading} {place} is hard to believe for the {kind}; expected is {lowest} to"
        " {highest}."
    },
    "index-missing": {"": "{species} at stop {stop} was opened, but has no call index."},
    "species-off-checklist": {
        "": "{species} at stop {stop} is not on the checklist of this route, so other nights"
        " cannot be taken to have no record of it."
    },
    "species-out-of-season": {
        "": "{species} at stop {stop} on the night of {night} is outside its calling season here,"
        " {season}."
    },
    "skip-reason-missing": {"": "Stop {stop} was skipped, and no reason is given."},
    "position-incomplete": {
        "": "The position measured at stop {stop} has only one of its two numbers."
    },
    "cell-unknown": {
        "": "The sheet has no place for {cells}. What was typed is kept, but not used."
    },
}


def read(message: str, about: About) -> tuple[str, dict]:
    """Variant and parameters of a stored message. Raises CannotTellError."""
    for variant, sentence in _SENTENCES.get(about.code, {}).items():
        places = {**_PLACES, **_PLACES_OF.get(about.code, {})}
        match = re.fullmatch(_pattern(sentence, places), message)
        if match is None:
            continue
        params = {name: places[name][1](text, about) for name, text in match.groupdict().items()}
        if "sign" in params:
            params["sign"] = {"wind_sign": params["most"]}
        if "sky" in params:
            params["sky"] = {"sky": params["code"]}
        if params.get("species") == {"species": None}:
            raise CannotTellError
        return variant, params
    raise CannotTellError


def _pattern(sentence: str, places: dict) -> str:
    parts = re.split(r"(\{\w+\}|\(\?:.*?\))", sentence)
    return "".join(
        f"(?P<{part[1:-1]}>{places[part[1:-1]][0]})"
        if part.startswith("{")
        else part
        if part.startswith("(?:")
        else re.escape(part)
        for part in parts
    )
