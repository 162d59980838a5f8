"""What a protocol asks, in plain words and in the units of the program."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from surveys.dates import span, time_of_day
from surveys.protocol.values import (
    DistanceUnit,
    Interruption,
    Protocol,
    SeasonWindow,
    TemperatureUnit,
)
from surveys.protocol.weather import (
    BEAUFORT,
    NOISE,
    SKY,
    show_temperature,
)
from surveys.protocol.words import days, distance, duration, listed, speed, temperature

_INTERRUPTED = {
    Interruption.PAUSE: "stop the clock, then keep listening for the rest of the time",
    Interruption.RESTART: "start over",
    Interruption.EXTEND: "listen longer",
}


@dataclass(frozen=True, kw_only=True)
class Units:
    """The units in which a program reads."""

    temperature: TemperatureUnit
    distance: DistanceUnit


def window_in_words(window: SeasonWindow) -> str:
    """`15 December to 15 March`."""
    return span(window.opens, window.closes)


def window_temperature(window: SeasonWindow, units: Units) -> str | None:
    limits = (("", window.min_air_temperature), (" in the water", window.min_water_temperature))
    words = [
        f"at least {temperature(limit, units.temperature)}{place}"
        for place, limit in limits
        if limit
    ]
    return "; ".join(words) or None


def earliest_start(protocol: Protocol, units: Units) -> str | None:
    offset = protocol.earliest_start_after_sunset
    if offset is None:
        return None
    if not offset:
        return "sunset"
    side = "after" if offset.total_seconds() > 0 else "before"
    return f"{duration(abs(offset))} {side} sunset"


def latest_end(protocol: Protocol, units: Units) -> str | None:
    ends = []
    if protocol.latest_end_clock is not None:
        ends.append(time_of_day(protocol.latest_end_clock))
    if protocol.latest_end_after_sunset is not None:
        ends.append(f"{duration(protocol.latest_end_after_sunset)} after sunset")
    both = ", whichever comes first" if len(ends) == 2 else ""
    return listed(ends, last="or") + both or None


def settling_wait(protocol: Protocol, units: Units) -> str | None:
    return duration(protocol.settling_wait) if protocol.settling_wait else None


def listening_time(protocol: Protocol, units: Units) -> str:
    wanted = duration(protocol.listening_time)
    if protocol.longest_listening_time is None:
        return wanted
    return f"{wanted}, up to {duration(protocol.longest_listening_time)} in noise"


def interruption(protocol: Protocol, units: Units) -> str:
    return _INTERRUPTED[protocol.interruption]


def wind(protocol: Protocol, units: Units) -> str | None:
    if protocol.max_beaufort is None:
        return None
    return f"at most Beaufort {protocol.max_beaufort} ({BEAUFORT[protocol.max_beaufort].sign})"


def sky(protocol: Protocol, units: Units) -> str | None:
    forbidden = [words.name for state, words in SKY.items() if state in protocol.forbidden_skies]
    return f"no survey in {listed(forbidden, last='or')}" if forbidden else None


def noise(protocol: Protocol, units: Units) -> str | None:
    if protocol.loudest_noise is None:
        return None
    words = NOISE[protocol.loudest_noise]
    return f"at most “{words.name}” ({words.sign})"


def sky_codes(protocol: Protocol, units: Units) -> str | None:
    names = {code: SKY[state].name for code, state in protocol.sky_codes.items()}
    return codes_in_words(names) or None


def noise_codes(protocol: Protocol, units: Units) -> str | None:
    names = {code: NOISE[effect].name for code, effect in protocol.noise_codes.items()}
    return codes_in_words(names) or None


def codes_in_words(names: Mapping[str, str]) -> str:
    """`0 clear, 1 overcast`."""
    return ", ".join(f"{code} {name}" for code, name in names.items())


def plausible_temperatures(protocol: Protocol, units: Units) -> str:
    bounds = protocol.plausible_temperature_c
    return " to ".join(show_temperature(bound, units.temperature) for bound in bounds)


def stops(protocol: Protocol, units: Units) -> str:
    order = ", in the order of their numbers" if protocol.stops_in_order else ", in any order"
    return f"at least {protocol.min_stops}{order}"


def between_stops(protocol: Protocol, units: Units) -> str | None:
    apart = protocol.min_stop_spacing_m
    return f"at least {distance(apart, units.distance)}" if apart else None


def between_visits(protocol: Protocol, units: Units) -> str | None:
    apart = protocol.min_days_between_visits
    return f"at least {days(apart)}" if apart else None


def training(protocol: Protocol, units: Units) -> str | None:
    return "required" if protocol.training_needed else None


def from_the_stop(protocol: Protocol, units: Units) -> str | None:
    most = protocol.max_distance_from_stop_m
    return None if most is None else f"at most {distance(most, units.distance)}"


def drive(protocol: Protocol, units: Units) -> str:
    return f"at most {speed(protocol.max_drive_kmh, units.distance)}"
