"""Rules on weather and noise.

A limit has three answers: met, broken, or cannot be told because the value was not
written down. A stop without a reading of its own is covered when there is one from
both the start and the end of the visit.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from surveys.language import gettext_noop as _
from surveys.protocol import params
from surveys.protocol.rules.reading import (
    listened,
)
from surveys.protocol.rules.rule import Breach, rule
from surveys.protocol.seasons import window_of
from surveys.protocol.sentences.sentence import LEAVE_IT, Sentence
from surveys.protocol.values import (
    Case,
    Period,
    SeasonWindow,
    Severity,
    SkyState,
    Temperature,
    Where,
)
from surveys.protocol.weather import (
    BEAUFORT,
    to_celsius,
)

_BREAK_OFF = _("If you are still out, stop for tonight and try another night.")
_WRITE_DOWN = _("Write it down if someone noted it. Otherwise the coordinator will decide.")
_CHECK_SIGN = _("Check the number, its sign and its unit (°C or °F).")
_LIMIT_UNKNOWN = Sentence(
    _("Stop {stop} has no {reading}, so we cannot check the limit."),
    (_WRITE_DOWN,),
)
_LIMIT_UNKNOWN_OF = {
    "visit": Sentence(
        _("The visit has no {reading}, so we cannot check the limit."),
        (_WRITE_DOWN,),
    ),
    "side": Sentence(
        _("The {side} of the visit and the stops have no {reading}, so we cannot check the limit."),
        (_WRITE_DOWN,),
    ),
}


@rule(
    "too-cold",
    Severity.QUERY,
    "The air was warm enough.",
    Sentence(
        _(
            "{reading} {place} is below {lowest}, the minimum air temperature of the window"
            " “{window}”."
        ),
        (_("Check the reading."), _BREAK_OFF, LEAVE_IT),
    ),
    on_phone=True,
)
def too_cold(case: Case) -> Iterator[Breach]:
    window = window_of(case.visit.night, case.protocol)
    if window is not None and window.min_air_temperature is not None:
        readings = _temperatures(case, "air_temperature", listened(case))
        yield from _colder(readings, window.min_air_temperature, window)


@rule(
    "water-too-cold",
    Severity.QUERY,
    "The water was warm enough.",
    Sentence(
        _(
            "{reading} {place} is below {lowest}, the minimum water temperature of the window"
            " “{window}”."
        ),
        (_("Check the reading."), _BREAK_OFF, LEAVE_IT),
    ),
    on_phone=True,
)
def water_too_cold(case: Case) -> Iterator[Breach]:
    window = window_of(case.visit.night, case.protocol)
    if window is not None and window.min_water_temperature is not None:
        readings = _temperatures(case, "water_temperature", listened(case))
        yield from _colder(readings, window.min_water_temperature, window)


@rule(
    "too-windy",
    Severity.QUERY,
    "The wind was light enough.",
    Sentence(
        _("Wind force {force} {place} is above {most} ({sign}), the protocol’s wind limit."),
        (_BREAK_OFF, LEAVE_IT),
    ),
    on_phone=True,
)
def too_windy(case: Case) -> Iterator[Breach]:
    most = case.protocol.max_beaufort
    if most is None:
        return
    for where, force in _codes(case, "beaufort", listened(case)):
        if force > most:
            yield Breach(
                where=where,
                params={
                    "force": force,
                    "place": params.place(where),
                    "most": most,
                    "sign": params.wind_sign(most),
                },
            )


@rule(
    "wet-sky",
    Severity.QUERY,
    "The sky allowed good hearing.",
    Sentence(
        _("The sky {place} is “{sky}”, and the protocol allows no survey in it."),
        (_BREAK_OFF, LEAVE_IT),
    ),
    on_phone=True,
)
def wet_sky(case: Case) -> Iterator[Breach]:
    for where, sky in _values(case, "sky", listened(case)):
        if isinstance(sky, SkyState) and sky in case.protocol.forbidden_skies:
            yield Breach(
                where=where,
                params={"sky": params.sky(sky), "place": params.place(where)},
            )


@rule(
    "out-in-thunder",
    Severity.NOTE,
    "No one was out in thunder.",
    Sentence(
        _("There was thunder {place}."),
        (
            _("Do not start, or stop now: get into a hard-topped car or a building."),
            _("Wait 30 minutes after the last thunder."),
        ),
    ),
    on_phone=True,
)
def out_in_thunder(case: Case) -> Iterator[Breach]:
    """A caution, whatever the protocol allows."""
    for where, sky in _values(case, "sky", listened(case)):
        if sky is SkyState.THUNDER:
            yield Breach(where=where, params={"place": params.place(where)})


@rule(
    "noise-too-loud",
    Severity.QUERY,
    "The stop was quiet enough.",
    Sentence(
        _("The noise at stop {stop} is “{noise}”; the protocol’s limit is “{most}”."),
        (_("If the noise may pass, wait and listen again."), LEAVE_IT),
    ),
    on_phone=True,
)
def noise_too_loud(case: Case) -> Iterator[Breach]:
    most = case.protocol.loudest_noise
    if most is None:
        return
    for period in listened(case):
        if period.noise is not None and period.noise.step > most.step:
            yield Breach(
                where=Where(stop=period.stop, field="noise"),
                params={
                    "noise": params.noise(period.noise),
                    "stop": period.stop,
                    "most": params.noise(most),
                },
            )


@rule(
    "temperature-missing",
    Severity.QUERY,
    "The air temperature is recorded if there is a limit.",
    _LIMIT_UNKNOWN,
    variants=_LIMIT_UNKNOWN_OF,
    on_phone=True,
)
def temperature_missing(case: Case) -> Iterator[Breach]:
    window = window_of(case.visit.night, case.protocol)
    if window is not None and window.min_air_temperature is not None:
        yield from _not_written(case, "air_temperature")


@rule(
    "water-temperature-missing",
    Severity.QUERY,
    "The water temperature is recorded if there is a limit.",
    _LIMIT_UNKNOWN,
    variants=_LIMIT_UNKNOWN_OF,
    on_phone=True,
)
def water_temperature_missing(case: Case) -> Iterator[Breach]:
    window = window_of(case.visit.night, case.protocol)
    if window is not None and window.min_water_temperature is not None:
        yield from _not_written(case, "water_temperature")


@rule(
    "wind-missing",
    Severity.QUERY,
    "The wind is recorded if there is a limit.",
    _LIMIT_UNKNOWN,
    variants=_LIMIT_UNKNOWN_OF,
    on_phone=True,
)
def wind_missing(case: Case) -> Iterator[Breach]:
    if case.protocol.max_beaufort is not None:
        yield from _not_written(case, "beaufort")


@rule(
    "sky-missing",
    Severity.QUERY,
    "The sky is recorded if there is a limit.",
    _LIMIT_UNKNOWN,
    variants=_LIMIT_UNKNOWN_OF,
    on_phone=True,
)
def sky_missing(case: Case) -> Iterator[Breach]:
    if case.protocol.forbidden_skies:
        yield from _not_written(case, "sky")


@rule(
    "noise-missing",
    Severity.QUERY,
    "The noise is recorded if there is a limit.",
    _LIMIT_UNKNOWN,
    variants=_LIMIT_UNKNOWN_OF,
    on_phone=True,
)
def noise_missing(case: Case) -> Iterator[Breach]:
    if case.protocol.loudest_noise is not None:
        yield from _not_written(case, "noise")


@rule(
    "temperature-implausible",
    Severity.QUERY,
    "Temperatures are plausible.",
    Sentence(
        _(
            "{reading} {place} is not plausible for the {kind}; your program expects {lowest} to"
            " {highest}."
        ),
        (_CHECK_SIGN, LEAVE_IT),
    ),
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
            yield Breach(
                where=where,
                params={
                    "reading": params.temperature(reading),
                    "place": params.place(where),
                    "kind": params.word(kind),
                    "lowest": params.celsius(lowest),
                    "highest": params.celsius(highest),
                },
            )


@rule(
    "unknown-wind-force",
    Severity.REFUSE,
    "The wind force is on the Beaufort scale.",
    Sentence(
        _("There is no wind force {force} {place}."),
        (
            _("Choose a force of the Beaufort scale, 0 to {last}."),
            _("It is not a speed."),
        ),
    ),
    on_phone=True,
)
def unknown_wind_force(case: Case) -> Iterator[Breach]:
    last = BEAUFORT[-1].force
    for where, force in _codes(case, "beaufort", case.visit.periods):
        if not 0 <= force <= last:
            yield Breach(
                where=where,
                params={"force": force, "place": params.place(where), "last": last},
            )


def _colder(
    readings: Iterable[tuple[Where, Temperature]],
    lowest: Temperature,
    window: SeasonWindow,
) -> Iterator[Breach]:
    for where, reading in readings:
        if to_celsius(reading) < to_celsius(lowest):
            yield Breach(
                where=where,
                params={
                    "reading": params.temperature(reading),
                    "place": params.place(where),
                    "lowest": params.temperature(lowest),
                    "window": window.name,
                },
            )


def _not_written(case: Case, field: str) -> Iterator[Breach]:
    """What cannot be told: once for the visit where nothing was written at all, once
    where only the start or only the end has a reading, else at each stop without a reading."""
    periods = listened(case)
    without = [period for period in periods if getattr(period, field) is None]
    at_start = getattr(case.visit.start, field, None)
    at_end = getattr(case.visit.end, field, None)
    if not without or (at_start is not None and at_end is not None):
        return
    if len(without) < len(periods):
        for period in without:
            yield Breach(
                where=Where(stop=period.stop, field=field),
                params={"stop": period.stop, "reading": params.word(field)},
            )
    elif at_start is None and at_end is None:
        yield Breach(
            where=Where(field=field),
            variant="visit",
            params={"reading": params.word(field)},
        )
    else:
        end = "end" if at_end is None else "start"
        yield Breach(
            where=Where(field=f"{end}.{field}"),
            variant="side",
            params={"side": params.word(end), "reading": params.word(field)},
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
