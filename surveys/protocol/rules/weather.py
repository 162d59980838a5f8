"""Rules on weather and noise.

A limit has three answers: met, broken, or cannot be told because the value was not
written down. A stop without a reading of its own is covered when there is one from
both the start and the end of the visit.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from surveys.protocol.rules.reading import (
    LEAVE_IT,
    listened,
)
from surveys.protocol.rules.rule import Breach, rule
from surveys.protocol.seasons import window_of
from surveys.protocol.values import (
    Case,
    Period,
    SeasonWindow,
    Severity,
    Temperature,
    Where,
)
from surveys.protocol.weather import (
    BEAUFORT,
    NOISE_INDEX,
    SKY_CODES,
    show_temperature,
    to_celsius,
)
from surveys.protocol.words import (
    listed,
    temperature,
)

_BREAK_OFF = "If you are still out, break off and come back on another night."


@rule("too-cold", Severity.QUERY, "The air was warm enough.", on_phone=True)
def too_cold(case: Case) -> Iterator[Breach]:
    window = window_of(case.visit.night, case.protocol)
    if window is not None and window.min_air_temperature is not None:
        readings = _temperatures(case, "air_temperature", listened(case))
        yield from _colder(readings, window.min_air_temperature, window, "air")


@rule("water-too-cold", Severity.QUERY, "The water was warm enough.", on_phone=True)
def water_too_cold(case: Case) -> Iterator[Breach]:
    window = window_of(case.visit.night, case.protocol)
    if window is not None and window.min_water_temperature is not None:
        readings = _temperatures(case, "water_temperature", listened(case))
        yield from _colder(readings, window.min_water_temperature, window, "water")


@rule("too-windy", Severity.QUERY, "The wind was weak enough.", on_phone=True)
def too_windy(case: Case) -> Iterator[Breach]:
    most = case.protocol.max_beaufort
    if most is None:
        return
    for where, force in _codes(case, "beaufort", listened(case)):
        if force > most:
            yield Breach(
                where=where,
                message=f"Wind force {force}{_at(where)} is above {most} ({_sign(most)}),"
                " the strongest wind in which the protocol is run.",
                remedy=f"{_BREAK_OFF} {LEAVE_IT}",
            )


@rule("wet-sky", Severity.QUERY, "The sky allowed good hearing.", on_phone=True)
def wet_sky(case: Case) -> Iterator[Breach]:
    for where, code in _codes(case, "sky", listened(case)):
        if code in case.protocol.wet_sky_codes:
            words = f" ({SKY_CODES[code]})" if code in SKY_CODES else ""
            yield Breach(
                where=where,
                message=f"With sky code {code}{words}{_at(where)} the protocol is not run.",
                remedy=f"{_BREAK_OFF} {LEAVE_IT}",
            )


@rule("noise-too-loud", Severity.QUERY, "The stop was quiet enough.", on_phone=True)
def noise_too_loud(case: Case) -> Iterator[Breach]:
    most = case.protocol.max_noise_index
    if most is None:
        return
    for period in listened(case):
        if period.noise_index is not None and period.noise_index > most:
            yield Breach(
                where=Where(stop=period.stop, field="noise_index"),
                message=f"Noise index {period.noise_index} at stop {period.stop} is above {most},"
                " the most that the protocol allows.",
                remedy=f"If the noise may pass, wait and listen again. {LEAVE_IT}",
            )


@rule(
    "temperature-missing",
    Severity.QUERY,
    "The air temperature is written down where a limit is set.",
    on_phone=True,
)
def temperature_missing(case: Case) -> Iterator[Breach]:
    window = window_of(case.visit.night, case.protocol)
    if window is not None and window.min_air_temperature is not None:
        yield from _not_written(case, "air_temperature", "air temperature")


@rule(
    "water-temperature-missing",
    Severity.QUERY,
    "The water temperature is written down where a limit is set.",
    on_phone=True,
)
def water_temperature_missing(case: Case) -> Iterator[Breach]:
    window = window_of(case.visit.night, case.protocol)
    if window is not None and window.min_water_temperature is not None:
        yield from _not_written(case, "water_temperature", "water temperature")


@rule(
    "wind-missing", Severity.QUERY, "The wind is written down where a limit is set.", on_phone=True
)
def wind_missing(case: Case) -> Iterator[Breach]:
    if case.protocol.max_beaufort is not None:
        yield from _not_written(case, "beaufort", "wind force")


@rule("sky-missing", Severity.QUERY, "The sky is written down where a limit is set.", on_phone=True)
def sky_missing(case: Case) -> Iterator[Breach]:
    if case.protocol.wet_sky_codes:
        yield from _not_written(case, "sky", "sky code")


@rule(
    "noise-missing",
    Severity.QUERY,
    "The noise is written down where a limit is set.",
    on_phone=True,
)
def noise_missing(case: Case) -> Iterator[Breach]:
    if case.protocol.max_noise_index is not None:
        yield from _not_written(case, "noise_index", "noise index")


@rule(
    "temperature-implausible",
    Severity.QUERY,
    "A temperature is one that can be believed.",
    on_phone=True,
)
def temperature_implausible(case: Case) -> Iterator[Breach]:
    lowest, highest = case.protocol.plausible_temperature_c
    periods = case.visit.periods
    readings = (
        *_temperatures(case, "air_temperature", periods),
        *_temperatures(case, "water_temperature", periods),
    )
    for where, reading in readings:
        if not lowest <= to_celsius(reading) <= highest:
            kind = "water" if where.field == "water_temperature" else "air"
            bounds = (show_temperature(bound, reading.unit) for bound in (lowest, highest))
            yield Breach(
                where=where,
                message=f"{_as_read(reading)}{_at(where)} is hard"
                f" to believe for the {kind}; expected is {' to '.join(bounds)}.",
                remedy=f"Check the number, its sign and its unit (°C or °F). {LEAVE_IT}",
            )


@rule("unknown-sky-code", Severity.REFUSE, "The sky code is a known one.")
def unknown_sky_code(case: Case) -> Iterator[Breach]:
    known = listed(SKY_CODES, last="or")
    for where, code in _codes(case, "sky", case.visit.periods):
        if code not in SKY_CODES:
            yield Breach(
                where=where,
                message=f"There is no sky code {code}{_at(where)}.",
                remedy=f"Choose {known}.",
            )


@rule("unknown-wind-force", Severity.REFUSE, "The wind force is on the Beaufort scale.")
def unknown_wind_force(case: Case) -> Iterator[Breach]:
    last = BEAUFORT[-1].force
    for where, force in _codes(case, "beaufort", case.visit.periods):
        if not 0 <= force <= last:
            yield Breach(
                where=where,
                message=f"There is no wind force {force}{_at(where)}.",
                remedy=f"Choose a force of the Beaufort scale, 0 to {last}. It is not a speed.",
            )


@rule("unknown-noise-index", Severity.REFUSE, "The noise index is a known one.")
def unknown_noise_index(case: Case) -> Iterator[Breach]:
    for period in case.visit.periods:
        if period.noise_index is not None and period.noise_index not in NOISE_INDEX:
            yield Breach(
                where=Where(stop=period.stop, field="noise_index"),
                message=f"There is no noise index {period.noise_index} (stop {period.stop}).",
                remedy=f"Choose {listed(NOISE_INDEX, last='or')}.",
            )


def _colder(
    readings: Iterable[tuple[Where, Temperature]],
    lowest: Temperature,
    window: SeasonWindow,
    kind: str,
) -> Iterator[Breach]:
    for where, reading in readings:
        if to_celsius(reading) < to_celsius(lowest):
            yield Breach(
                where=where,
                message=f"{_as_read(reading)}{_at(where)} is below"
                f" {temperature(lowest, reading.unit)}, the lowest {kind} temperature of the window"
                f" “{window.name}”.",
                remedy=f"Check the reading. {_BREAK_OFF} {LEAVE_IT}",
            )


def _not_written(case: Case, field: str, words: str) -> Iterator[Breach]:
    """What cannot be told: once for the visit where nothing was written at all, once
    where only the start or only the end has a reading, else at each stop without a reading."""
    periods = listened(case)
    without = [period for period in periods if getattr(period, field) is None]
    at_start = getattr(case.visit.start, field, None)
    at_end = getattr(case.visit.end, field, None)
    if not without or (at_start is not None and at_end is not None):
        return
    remedy = "Write it down if somebody noted it. Otherwise the coordinator decides."
    cannot = "so it cannot be told whether the limit was met."
    if len(without) < len(periods):
        for period in without:
            yield Breach(
                where=Where(stop=period.stop, field=field),
                message=f"Stop {period.stop} has no {words}, {cannot}",
                remedy=remedy,
            )
    elif at_start is None and at_end is None:
        yield Breach(
            where=Where(field=field),
            message=f"The visit has no {words}, {cannot}",
            remedy=remedy,
        )
    else:
        end = "end" if at_end is None else "start"
        yield Breach(
            where=Where(field=f"{end}.{field}"),
            message=f"The {end} of the visit has no {words}, nor have the stops, {cannot}",
            remedy=remedy,
        )


def _temperatures(
    case: Case, field: str, periods: Iterable[Period]
) -> Iterator[tuple[Where, Temperature]]:
    for where, value in _values(case, field, periods):
        if isinstance(value, Temperature):
            yield where, value


def _codes(case: Case, field: str, periods: Iterable[Period]) -> Iterator[tuple[Where, int]]:
    for where, value in _values(case, field, periods):
        if isinstance(value, int):
            yield where, value


def _values(case: Case, field: str, periods: Iterable[Period]) -> Iterator[tuple[Where, object]]:
    """Every place where a reading may stand: start of the visit, stops, end of the visit."""
    visit = case.visit
    yield Where(field=f"start.{field}"), getattr(visit.start, field, None)
    for period in periods:
        yield Where(stop=period.stop, field=field), getattr(period, field)
    yield Where(field=f"end.{field}"), getattr(visit.end, field, None)


def _at(where: Where) -> str:
    if where.stop is not None:
        return f" at stop {where.stop}"
    return f" at the {str(where.field).split('.', maxsplit=1)[0]} of the visit"


def _sign(force: int) -> str:
    return next((row.sign for row in BEAUFORT if row.force == force), "")


def _as_read(reading: Temperature) -> str:
    return temperature(reading, reading.unit)
