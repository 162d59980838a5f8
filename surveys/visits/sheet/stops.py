"""Reads one stop of the sheet into a listening period."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from functools import lru_cache, partial

from surveys.protocol import params
from surveys.protocol.own_fields import OwnField, OwnValue
from surveys.protocol.values import (
    CallDistance,
    CallRecord,
    Finding,
    Period,
    PeriodStatus,
    Place,
    TemperatureUnit,
    Where,
)
from surveys.protocol.weather import NOISE, SKY
from surveys.visits.sheet.cells import CLOCK_FIELDS
from surveys.visits.sheet.clocks import (
    FoldWantedError,
    other_half_of_day,
    read_clock,
)
from surveys.visits.sheet.own_fields import labels_of, read_own_fields
from surveys.visits.sheet.part import Part, StateCodes
from surveys.visits.sheet.reading_rules import problem
from surveys.visits.sheet.texts import (
    CellError,
    is_missing,
    number_between,
    read_choice,
    read_integer,
    read_temperature,
    read_text,
    read_yes_no,
    shortened,
    unreadable,
)

WATER_TONIGHT = ("dry", "pools", "full", "not_seen")
NOT_SURE = "?"
_CALLS = "calls."
_WITH_DISTANCE = re.compile(r"([0-9.,]+|\?)\s*(n|near|f|far)", re.IGNORECASE)


@dataclass(frozen=True, kw_only=True)
class StopFacts:
    """The facts of a stop that no rule looks at; fields as in models.ListeningPeriod."""

    skip_reason: str = ""
    interrupted: bool | None = None
    water_tonight: str = ""
    note: str = ""
    own_fields: Mapping[str, OwnValue] = field(default_factory=dict)


@dataclass(frozen=True, kw_only=True)
class StopReading:
    """`period` is None when the stop was not reached, or when its status is unclear."""

    period: Period | None
    facts: StopFacts
    problems: tuple[Finding, ...]


@dataclass(frozen=True, kw_only=True)
class ReadingContext:
    """What the cells of a stop are read with: night, zone, unit, known species codes, what the
    protocol writes for sky and noise, and the program's own fields per stop."""

    night: dt.date
    time_zone: str
    unit: TemperatureUnit
    species: Collection[str]
    codes: StateCodes
    own_fields: tuple[OwnField, ...] = ()


def read_stop(number: int, texts: dict[str, str], context: ReadingContext) -> StopReading:
    """Read the cells of one stop. Never raises; problems are findings."""
    part = Part(
        texts=texts,
        problems=[],
        stop=number,
        belongs_to={"stop": number},
        labels=labels_of(context.own_fields),
    )
    is_filled = any(part.has(name) for name in texts if not name.endswith(".fold"))
    if not is_filled:
        return StopReading(period=None, facts=StopFacts(), problems=())
    status = _read_status(part)
    own = read_own_fields(part, context.own_fields)
    period = _read_period(part, status or PeriodStatus.LISTENED, context, frozenset(own))
    facts = _read_facts(part, status, own)
    return StopReading(
        period=None if status is None else period, facts=facts, problems=tuple(part.problems)
    )


def _read_status(part: Part) -> PeriodStatus | None:
    """The status; a stop with a listening time or a call index counts as listened."""
    if part.has("status"):
        status = part.read("status", partial(read_choice, choices=tuple(PeriodStatus)))
        return None if status is None else PeriodStatus(status)
    has_calls = any(name.startswith(_CALLS) and part.has(name) for name in part.texts)
    if has_calls or part.has("started_at") or part.has("finished_at"):
        return PeriodStatus.LISTENED
    part.report("status-unclear", "status", stop=part.stop)
    return None


def _read_period(
    part: Part, status: PeriodStatus, context: ReadingContext, own_filled: frozenset[str]
) -> Period:
    times = {name: _read_time(part, name, context) for name in CLOCK_FIELDS}
    pause = part.read("paused_minutes", partial(number_between, low=0, high=600))
    temperature = partial(read_temperature, unit=context.unit)
    skipped_with_times = status is PeriodStatus.SKIPPED and (
        part.has("started_at") or part.has("finished_at")
    )
    if skipped_with_times:
        part.report("skipped-with-times", "status", stop=part.stop)
    return Period(
        stop=part.stop or 0,
        status=status,
        **times,
        paused=dt.timedelta(minutes=float(pause or 0)),
        air_temperature=part.read("air_temperature", temperature),
        water_temperature=part.read("water_temperature", temperature),
        beaufort=part.read("beaufort", read_integer),
        sky=part.read_state("sky", SKY, context.codes.sky, params.sky),
        noise=part.read_state("noise", NOISE, context.codes.noise, params.noise),
        measured_at=_read_place(part),
        measured_accuracy_m=_read_accuracy(part),
        calls=tuple(_read_calls(part, context.species)),
        own_filled=own_filled,
    )


def _read_time(part: Part, name: str, context: ReadingContext) -> dt.datetime | None:
    if not part.has(name):
        return None
    typed, zone = part.text(name), context.time_zone
    try:
        reading = read_clock(typed, part.text(f"{name}.fold"), night=context.night, time_zone=zone)
    except CellError as error:
        beside = f"{name}.fold" if isinstance(error, FoldWantedError) else name
        part.report_cell(error, name, beside=beside)
        return None
    if reading.by_day:
        other = other_half_of_day(reading.instant, zone)
        part.report_cell(CellError("clock-by-day", typed=shortened(typed), other=other), name)
    return reading.instant


def _read_place(part: Part) -> Place | None:
    latitude = part.read("latitude", partial(number_between, low=-90, high=90))
    longitude = part.read("longitude", partial(number_between, low=-180, high=180))
    if part.has("latitude") != part.has("longitude"):
        part.report("position-incomplete", "latitude", stop=part.stop)
    if latitude is None or longitude is None:
        return None
    return Place(latitude=float(latitude), longitude=float(longitude))


def _read_accuracy(part: Part) -> float | None:
    accuracy = part.read("accuracy_m", partial(number_between, low=0, high=100_000))
    return None if accuracy is None else float(accuracy)


def _read_calls(part: Part, known_species: Collection[str]) -> list[CallRecord]:
    """The calls written down. A dash or `T` is a call without an index; blank is not heard."""
    calls = []
    for name in sorted(part.texts):
        if not name.startswith(_CALLS):
            continue
        code, typed = name.removeprefix(_CALLS), part.texts[name].strip()
        where = Where(stop=part.stop, field="index", species=code)
        if code not in known_species:
            if not is_missing(typed):
                part.problems.append(_unknown_species(where))
            continue
        try:
            calls.append(_read_call(code, typed))
        except CellError:
            part.problems.append(_unreadable_index(where, typed))
    return calls


@lru_cache(maxsize=4096)
def _read_call(code: str, typed: str) -> CallRecord:
    """`2`, or `2 near`, `2 far`, `2n`, `? far` where the protocol has a listening radius."""
    if is_missing(typed):
        return CallRecord(species=code, index=None)
    distance = None
    if match := _WITH_DISTANCE.fullmatch(typed):
        typed = match[1]
        near = match[2].casefold().startswith("n")
        distance = CallDistance.NEAR if near else CallDistance.FAR
    if typed == NOT_SURE:
        return CallRecord(species=code, index=None, not_sure=True, distance=distance)
    index = read_integer(typed)
    if index == 0 and distance is not None:
        raise unreadable("index", typed)
    return CallRecord(species=code, index=index, distance=distance)


def _unknown_species(where: Where) -> Finding:
    return problem("species-unknown", where, "stop", {"typed": where.species, "stop": where.stop})


def _unreadable_index(where: Where, typed: str) -> Finding:
    species = params.species(where.species or "")
    return problem(
        "cell-unreadable",
        where,
        "index",
        {"typed": shortened(typed), "species": species, "stop": where.stop},
    )


def _read_facts(part: Part, status: PeriodStatus | None, own: Mapping[str, OwnValue]) -> StopFacts:
    reason = part.read("skip_reason", partial(read_text, max_length=200)) or ""
    if status is PeriodStatus.SKIPPED and not part.text("skip_reason").strip():
        part.report("skip-reason-missing", "skip_reason", stop=part.stop)
    return StopFacts(
        skip_reason=reason,
        interrupted=part.read("interrupted", read_yes_no),
        water_tonight=part.read("water_tonight", partial(read_choice, choices=WATER_TONIGHT)) or "",
        note=part.text("note").strip(),
        own_fields=own,
    )
