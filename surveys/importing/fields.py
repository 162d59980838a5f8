"""What a column of a spreadsheet can mean."""

import re
from dataclasses import dataclass
from enum import StrEnum


class Level(StrEnum):
    """Whether a column speaks of the whole visit, of one stop, or of one species."""

    VISIT = "Visit"
    STOP = "Stop"
    CALL = "Species in rows"


@dataclass(frozen=True, kw_only=True)
class Form:
    """One way in which a field's cells may be written. `hints` are words in a header
    that tell it."""

    code: str
    label: str
    hints: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Field:
    """`address` is the cell of the sheet, without `stops.<number>.`; empty for what is
    not a cell. `names` are headers that are taken for the field, in plain letters."""

    code: str
    label: str
    level: Level
    address: str = ""
    forms: tuple[Form, ...] = ()
    names: tuple[str, ...] = ()
    help: str = ""


DATES = (
    Form(code="ymd", label="year first, 2024-04-15, or a date cell"),
    Form(code="dmy", label="day first, 15/4/2024"),
    Form(code="mdy", label="month first, 4/15/2024"),
)
CLOCKS = (
    Form(code="24h", label="21:14, 9:14 pm, time cells"),
    Form(code="12h", label="9:14 is 21:14, 12:05 is 00:05"),
)
DEGREES = (
    Form(code="C", label="°C", hints=("c", "celsius")),
    Form(code="F", label="°F", hints=("f", "fahrenheit")),
)
WINDS = (
    Form(code="beaufort", label="Beaufort force", hints=("beaufort", "bft", "force")),
    Form(code="mph", label="miles an hour", hints=("mph",)),
    Form(code="kmh", label="km/h", hints=("kmh", "km h", "kph")),
    Form(code="ms", label="m/s", hints=("m s", "ms")),
    Form(code="knots", label="knots", hints=("knots", "kn", "kt")),
)
RAINS = (
    Form(code="mm", label="mm", hints=("mm",)),
    Form(code="in", label="inches", hints=("in", "inch", "inches")),
)


def _weather(end: str, level: Level, *, label: str) -> tuple[Field, ...]:
    prefix, words = (f"{end}_", (end,)) if end else ("", ("",))
    address = f"{end}." if end else ""

    def names(*stems: str) -> tuple[str, ...]:
        headers = []
        for stem in stems:
            headers += [f"{word} {stem}".strip() for word in words]
            headers += [f"{stem} {word}".strip() for word in words]
            headers += [f"{stem} at {word}" for word in words if word]
        return tuple(headers)

    return (
        Field(
            code=f"{prefix}air_temperature",
            label=f"Air temperature{label}",
            level=level,
            address=f"{address}air_temperature",
            forms=DEGREES,
            names=names("air temperature", "air temp", "temperature", "temp"),
        ),
        Field(
            code=f"{prefix}beaufort",
            label=f"Wind{label}",
            level=level,
            address=f"{address}beaufort",
            forms=WINDS,
            names=names("wind", "wind force", "wind speed", "beaufort"),
        ),
        Field(
            code=f"{prefix}sky",
            label=f"Sky code{label}",
            level=level,
            address=f"{address}sky",
            names=names("sky", "sky code"),
        ),
    )


FIELDS: tuple[Field, ...] = (
    Field(
        code="route",
        label="Route, code or name",
        level=Level.VISIT,
        names=("route", "route code", "route name", "route number", "route no"),
        help="As it stands in the program.",
    ),
    Field(
        code="night",
        label="Date of the evening",
        level=Level.VISIT,
        address="night",
        forms=DATES,
        names=("date", "night", "survey date", "visit date", "evening", "date of survey"),
        help="A visit that ends after midnight has the date of the evening before.",
    ),
    Field(
        code="observer",
        label="Observer, e-mail or name",
        level=Level.VISIT,
        names=("observer", "observer name", "observer email", "surveyor", "recorder", "name"),
        help="Somebody who is not a member stays in the notes; the visit is then yours.",
    ),
    Field(
        code="second_observer",
        label="Second observer",
        level=Level.VISIT,
        address="second_observer",
        names=("second observer", "helper", "assistant", "observer 2"),
    ),
    *_weather("start", Level.VISIT, label=" at the start"),
    *_weather("end", Level.VISIT, label=" at the end"),
    Field(
        code="rain_48h",
        label="Rain in the past 48 hours",
        level=Level.VISIT,
        address="rain_48h",
        forms=RAINS,
        names=(
            "rain",
            "rain 48h",
            "rain 48 h",
            "rainfall",
            "rain in last 48 hours",
            "rain in past 48 hours",
        ),
        help="T is a trace: rain that fell, too little to measure. It is kept as such, not as 0.",
    ),
    Field(
        code="days_since_rain",
        label="Days since rain",
        level=Level.VISIT,
        address="days_since_rain",
        names=("days since rain", "days since last rain"),
    ),
    Field(
        code="notes",
        label="Notes on the visit",
        level=Level.VISIT,
        address="notes",
        names=("notes", "visit notes", "comments", "remarks"),
    ),
    Field(
        code="stop",
        label="Stop number",
        level=Level.STOP,
        names=("stop", "stop number", "stop no", "point", "station"),
    ),
    Field(
        code="status",
        label="Listened or skipped",
        level=Level.STOP,
        address="status",
        names=("status", "listened or skipped"),
    ),
    Field(
        code="skip_reason",
        label="Reason for skipping",
        level=Level.STOP,
        address="skip_reason",
        names=("skip reason", "reason for skipping"),
    ),
    Field(
        code="arrived_at",
        label="Arrival",
        level=Level.STOP,
        address="arrived_at",
        forms=CLOCKS,
        names=("arrival", "arrived", "arrived at", "arrival time"),
    ),
    Field(
        code="started_at",
        label="Start of the listening",
        level=Level.STOP,
        address="started_at",
        forms=CLOCKS,
        names=("start", "started", "started at", "start time", "time", "listening start"),
    ),
    Field(
        code="finished_at",
        label="End of the listening",
        level=Level.STOP,
        address="finished_at",
        forms=CLOCKS,
        names=("end", "finish", "finished", "finished at", "end time", "listening end"),
    ),
    Field(
        code="paused_minutes",
        label="Pause in minutes",
        level=Level.STOP,
        address="paused_minutes",
        names=("pause", "paused", "pause minutes", "paused minutes"),
    ),
    *_weather("", Level.STOP, label=" at the stop"),
    Field(
        code="water_temperature",
        label="Water temperature",
        level=Level.STOP,
        address="water_temperature",
        forms=DEGREES,
        names=("water temperature", "water temp"),
    ),
    Field(
        code="noise_index",
        label="Noise index, 0-4",
        level=Level.STOP,
        address="noise_index",
        names=("noise", "noise index"),
    ),
    Field(
        code="cars",
        label="Cars that passed",
        level=Level.STOP,
        address="cars",
        names=("cars", "vehicles", "cars passed"),
    ),
    Field(
        code="interrupted",
        label="Interrupted, yes or no",
        level=Level.STOP,
        address="interrupted",
        names=("interrupted", "interruption"),
    ),
    Field(
        code="moonlight",
        label="Moonlight, yes or no",
        level=Level.STOP,
        address="moonlight",
        names=("moonlight", "moon"),
    ),
    Field(
        code="water_tonight",
        label="Water tonight: dry, pools, full, not seen",
        level=Level.STOP,
        address="water_tonight",
        names=("water", "water tonight", "water level"),
    ),
    Field(
        code="latitude",
        label="Latitude measured",
        level=Level.STOP,
        address="latitude",
        names=("latitude", "lat"),
    ),
    Field(
        code="longitude",
        label="Longitude measured",
        level=Level.STOP,
        address="longitude",
        names=("longitude", "lon", "long", "lng"),
    ),
    Field(
        code="stop_note",
        label="Note on the stop",
        level=Level.STOP,
        address="note",
        names=("stop note", "stop notes", "note"),
    ),
    Field(
        code="species",
        label="Species",
        level=Level.CALL,
        names=("species", "species name", "species code", "common name", "scientific name"),
        help="One row for each stop and species: the long form.",
    ),
    Field(
        code="index",
        label="Call index, 0-3",
        level=Level.CALL,
        names=("index", "call index", "calling index", "calls"),
    ),
)
BY_CODE = {field.code: field for field in FIELDS}

_IN_BRACKETS = re.compile(r"[(\[]([^)\]]*)[)\]]")
_NOT_A_WORD = re.compile(r"[^0-9a-zà-öø-ÿ]+")


def plain(text: str) -> str:
    """A header in plain lower-case words, without what stands in brackets."""
    return _words(_IN_BRACKETS.sub(" ", text))


def words_of(text: str) -> str:
    """All the words of a header, those in brackets too."""
    return _words(text)


def _words(text: str) -> str:
    return " ".join(_NOT_A_WORD.sub(" ", text.casefold().replace("_", " ")).split())
