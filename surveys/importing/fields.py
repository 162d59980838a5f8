"""What a column of a spreadsheet can mean."""

import re
from dataclasses import dataclass
from enum import StrEnum

from django.utils.translation import gettext_lazy

from surveys.language import gettext
from surveys.models import Program
from surveys.programs.assignments import today_of
from surveys.programs.in_force import own_fields_on
from surveys.programs.own_fields import own_fields_of
from surveys.protocol.own_fields import AskedPer, OwnField


class Level(StrEnum):
    """Whether a column speaks of the whole visit, of one stop, or of one species."""

    VISIT = "visit"
    STOP = "stop"
    CALL = "call"

    @property
    def told(self) -> str:
        return {
            Level.VISIT: gettext("Visit"),
            Level.STOP: gettext("Stop"),
            Level.CALL: gettext("Species in rows"),
        }[self]


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
    Form(code="ymd", label=gettext_lazy("year first, 2024-04-15, or a date cell")),
    Form(code="dmy", label=gettext_lazy("day first, 15/4/2024")),
    Form(code="mdy", label=gettext_lazy("month first, 4/15/2024")),
)
CLOCKS = (
    Form(code="24h", label=gettext_lazy("21:14, 9:14 pm, time cells")),
    Form(code="12h", label=gettext_lazy("9:14 is 21:14, 12:05 is 00:05")),
)
DEGREES = (
    Form(code="C", label="°C", hints=("c", "celsius")),
    Form(code="F", label="°F", hints=("f", "fahrenheit")),
)
WINDS = (
    Form(code="beaufort", label=gettext_lazy("Beaufort force"), hints=("beaufort", "bft", "force")),
    Form(code="mph", label=gettext_lazy("miles an hour"), hints=("mph",)),
    Form(code="kmh", label="km/h", hints=("kmh", "km h", "kph")),
    Form(code="ms", label="m/s", hints=("m s", "ms")),
    Form(code="knots", label=gettext_lazy("knots"), hints=("knots", "kn", "kt")),
)
RAINS = (
    Form(code="mm", label="mm", hints=("mm",)),
    Form(code="in", label=gettext_lazy("inches"), hints=("in", "inch", "inches")),
)


_WEATHER = {
    "start": (
        gettext_lazy("Air temperature at the start"),
        gettext_lazy("Wind at the start"),
        gettext_lazy("Sky at the start"),
    ),
    "end": (
        gettext_lazy("Air temperature at the end"),
        gettext_lazy("Wind at the end"),
        gettext_lazy("Sky at the end"),
    ),
    "": (
        gettext_lazy("Air temperature at the stop"),
        gettext_lazy("Wind at the stop"),
        gettext_lazy("Sky at the stop"),
    ),
}


def _weather(end: str, level: Level) -> tuple[Field, ...]:
    prefix, words = (f"{end}_", (end,)) if end else ("", ("",))
    address = f"{end}." if end else ""

    def names(*stems: str) -> tuple[str, ...]:
        headers = []
        for stem in stems:
            headers += [f"{word} {stem}".strip() for word in words]
            headers += [f"{stem} {word}".strip() for word in words]
            headers += [f"{stem} at {word}" for word in words if word]
        return tuple(headers)

    air, wind, sky = _WEATHER[end]
    return (
        Field(
            code=f"{prefix}air_temperature",
            label=air,
            level=level,
            address=f"{address}air_temperature",
            forms=DEGREES,
            names=names("air temperature", "air temp", "temperature", "temp"),
        ),
        Field(
            code=f"{prefix}beaufort",
            label=wind,
            level=level,
            address=f"{address}beaufort",
            forms=WINDS,
            names=names("wind", "wind force", "wind speed", "beaufort"),
        ),
        Field(
            code=f"{prefix}sky",
            label=sky,
            level=level,
            address=f"{address}sky",
            names=names("sky", "sky code", "weather"),
            help=gettext_lazy("In words, or by the codes of the protocol."),
        ),
    )


FIELDS: tuple[Field, ...] = (
    Field(
        code="route",
        label=gettext_lazy("Route, code or name"),
        level=Level.VISIT,
        names=("route", "route code", "route name", "route number", "route no"),
        help=gettext_lazy("As in the program."),
    ),
    Field(
        code="night",
        label=gettext_lazy("Date of the evening"),
        level=Level.VISIT,
        address="night",
        forms=DATES,
        names=("date", "night", "survey date", "visit date", "evening", "date of survey"),
        help=gettext_lazy(
            "Use the date on which the evening began, even if the visit ended after midnight."
        ),
    ),
    Field(
        code="observer",
        label=gettext_lazy("Observer, email or name"),
        level=Level.VISIT,
        names=("observer", "observer name", "observer email", "surveyor", "recorder", "name"),
        help=gettext_lazy(
            "If no one in the program has this name, the visits go to a new person without an "
            "account."
        ),
    ),
    Field(
        code="second_observer",
        label=gettext_lazy("Second observer"),
        level=Level.VISIT,
        address="second_observer",
        names=("second observer", "helper", "assistant", "observer 2"),
    ),
    *_weather("start", Level.VISIT),
    *_weather("end", Level.VISIT),
    Field(
        code="rain_48h",
        label=gettext_lazy("Rain in the past 48 hours"),
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
        help=gettext_lazy(
            "T is a trace: rain that fell, but too little to measure. It is not a 0."
        ),
    ),
    Field(
        code="notes",
        label=gettext_lazy("Notes on the visit"),
        level=Level.VISIT,
        address="notes",
        names=("notes", "visit notes", "comments", "remarks"),
    ),
    Field(
        code="stop",
        label=gettext_lazy("Stop number"),
        level=Level.STOP,
        names=("stop", "stop number", "stop no", "point", "station"),
    ),
    Field(
        code="status",
        label=gettext_lazy("Surveyed or skipped"),
        level=Level.STOP,
        address="status",
        names=("status", "surveyed or skipped", "listened or skipped"),
    ),
    Field(
        code="skip_reason",
        label=gettext_lazy("Reason for skipping"),
        level=Level.STOP,
        address="skip_reason",
        names=("skip reason", "reason for skipping"),
    ),
    Field(
        code="arrived_at",
        label=gettext_lazy("Arrival"),
        level=Level.STOP,
        address="arrived_at",
        forms=CLOCKS,
        names=("arrival", "arrived", "arrived at", "arrival time"),
    ),
    Field(
        code="started_at",
        label=gettext_lazy("Start of the listening period"),
        level=Level.STOP,
        address="started_at",
        forms=CLOCKS,
        names=("start", "started", "started at", "start time", "time", "listening start"),
    ),
    Field(
        code="finished_at",
        label=gettext_lazy("End of the listening period"),
        level=Level.STOP,
        address="finished_at",
        forms=CLOCKS,
        names=("end", "finish", "finished", "finished at", "end time", "listening end"),
    ),
    Field(
        code="paused_minutes",
        label=gettext_lazy("Pause in minutes"),
        level=Level.STOP,
        address="paused_minutes",
        names=("pause", "paused", "pause minutes", "paused minutes"),
    ),
    *_weather("", Level.STOP),
    Field(
        code="water_temperature",
        label=gettext_lazy("Water temperature"),
        level=Level.STOP,
        address="water_temperature",
        forms=DEGREES,
        names=("water temperature", "water temp"),
    ),
    Field(
        code="noise",
        label=gettext_lazy("Noise"),
        level=Level.STOP,
        address="noise",
        names=("noise", "noise index", "noise level"),
        help=gettext_lazy("In words, or by the codes of the protocol."),
    ),
    Field(
        code="interrupted",
        label=gettext_lazy("Interrupted, yes or no"),
        level=Level.STOP,
        address="interrupted",
        names=("interrupted", "interruption"),
    ),
    Field(
        code="water_tonight",
        label=gettext_lazy("Water level: dry, pools, full, not seen"),
        level=Level.STOP,
        address="water_tonight",
        names=("water", "water tonight", "water level"),
    ),
    Field(
        code="latitude",
        label=gettext_lazy("Latitude measured"),
        level=Level.STOP,
        address="latitude",
        names=("latitude", "lat"),
    ),
    Field(
        code="longitude",
        label=gettext_lazy("Longitude measured"),
        level=Level.STOP,
        address="longitude",
        names=("longitude", "lon", "long", "lng"),
    ),
    Field(
        code="stop_note",
        label=gettext_lazy("Note on the stop"),
        level=Level.STOP,
        address="note",
        names=("stop note", "stop notes", "note"),
    ),
    Field(
        code="species",
        label=gettext_lazy("Species"),
        level=Level.CALL,
        names=("species", "species name", "species code", "common name", "scientific name"),
        help=gettext_lazy("One row for each stop and species: the long form."),
    ),
    Field(
        code="index",
        label=gettext_lazy("Call index, 0–3"),
        level=Level.CALL,
        names=("index", "call index", "calling index", "calls"),
    ),
    Field(
        code="distance",
        label=gettext_lazy("Near or far"),
        level=Level.CALL,
        names=("near or far", "near far", "distance"),
        help=gettext_lazy(
            "For protocols with a listening radius: near or N, far or F. In a column of its own, "
            "or behind the index: 2F."
        ),
    ),
)


def fields_of(program: Program) -> tuple[Field, ...]:
    """What a column can mean in a program: the fields of every sheet, then its own, those that
    are no longer asked too."""
    own_fields = own_fields_on(own_fields_of(program), today_of(program))
    return (*FIELDS, *(own_field(field) for field in own_fields))


def own_field(field: OwnField) -> Field:
    return Field(
        code=field.cell,
        label=field.heading,
        level=Level.VISIT if field.per is AskedPer.VISIT else Level.STOP,
        address=field.cell,
        names=tuple({plain(field.label), words_of(field.heading), plain(field.key)}),
        help=field.help,
    )


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
