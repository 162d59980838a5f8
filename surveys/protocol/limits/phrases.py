"""What a protocol asks, in plain words and in the units of the program."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from surveys.dates import span, time_of_day
from surveys.language import gettext, said
from surveys.language import gettext_noop as _
from surveys.protocol.values import (
    DistanceUnit,
    Interruption,
    Protocol,
    SeasonWindow,
    TemperatureUnit,
    WithoutTest,
)
from surveys.protocol.weather import (
    BEAUFORT,
    NOISE,
    SKY,
    show_temperature,
)
from surveys.protocol.words import (
    days,
    distance,
    duration,
    from_sunset,
    listed,
    number,
    speed,
    temperature,
)

_INTERRUPTED = {
    Interruption.PAUSE: _("stop the clock, then keep listening for the rest of the time"),
    Interruption.RESTART: _("start over"),
    Interruption.EXTEND: _("listen longer"),
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
    limits = (
        (_("at least {temperature}"), window.min_air_temperature),
        (_("at least {temperature} in the water"), window.min_water_temperature),
    )
    words = [
        said(text, temperature=temperature(limit, units.temperature))
        for text, limit in limits
        if limit
    ]
    return gettext("; ").join(words) or None


def earliest_start(protocol: Protocol, units: Units) -> str | None:
    offset = protocol.earliest_start_after_sunset
    return None if offset is None else from_sunset(offset)


def latest_end(protocol: Protocol, units: Units) -> str | None:
    ends = []
    if protocol.latest_end_clock is not None:
        ends.append(time_of_day(protocol.latest_end_clock))
    if protocol.latest_end_after_sunset is not None:
        ends.append(from_sunset(protocol.latest_end_after_sunset))
    both = listed(ends, last="or")
    return said("{ends}, whichever comes first", ends=both) if len(ends) == 2 else both or None


def settling_wait(protocol: Protocol, units: Units) -> str | None:
    return duration(protocol.settling_wait) if protocol.settling_wait else None


def listening_time(protocol: Protocol, units: Units) -> str:
    wanted = duration(protocol.listening_time)
    if protocol.longest_listening_time is None:
        return wanted
    longest = duration(protocol.longest_listening_time)
    return said("{wanted}, up to {longest} in noise", wanted=wanted, longest=longest)


def interruption(protocol: Protocol, units: Units) -> str:
    return gettext(_INTERRUPTED[protocol.interruption])


def listening_radius(protocol: Protocol, units: Units) -> str | None:
    radius = radius_in_words(protocol, units)
    return said("{radius}; calls are near or far", radius=radius) if radius else None


def radius_in_words(protocol: Protocol, units: Units) -> str:
    """The listening radius; blank where a call counts at any distance."""
    radius = protocol.listening_radius_m
    return "" if radius is None else distance(radius, units.distance)


def wind(protocol: Protocol, units: Units) -> str | None:
    if protocol.max_beaufort is None:
        return None
    force = protocol.max_beaufort
    sign = gettext(BEAUFORT[force].sign)
    return said("at most Beaufort {force} ({sign})", force=force, sign=sign)


def sky(protocol: Protocol, units: Units) -> str | None:
    states = [state for state in SKY if state in protocol.forbidden_skies]
    names = listed((gettext(SKY[state].name) for state in states), last="or")
    return said("no survey in {skies}", skies=names) if states else None


def noise(protocol: Protocol, units: Units) -> str | None:
    if protocol.loudest_noise is None:
        return None
    words = NOISE[protocol.loudest_noise]
    return said("at most “{noise}” ({sign})", noise=gettext(words.name), sign=gettext(words.sign))


def sky_codes(protocol: Protocol, units: Units) -> str | None:
    names = {code: gettext(SKY[state].name) for code, state in protocol.sky_codes.items()}
    return codes_in_words(names) or None


def noise_codes(protocol: Protocol, units: Units) -> str | None:
    names = {code: gettext(NOISE[effect].name) for code, effect in protocol.noise_codes.items()}
    return codes_in_words(names) or None


def codes_in_words(names: Mapping[str, str]) -> str:
    """`0 clear, 1 overcast`."""
    return gettext(", ").join(f"{code} {name}" for code, name in names.items())


def plausible_temperatures(protocol: Protocol, units: Units) -> str:
    ends = (show_temperature(end, units.temperature) for end in protocol.plausible_temperature_c)
    first, last = map(number, ends)
    return said("{first} to {last}", first=first, last=last)


def stops(protocol: Protocol, units: Units) -> str:
    fewest = protocol.min_stops
    if protocol.stops_in_order:
        return said("at least {number}, in the order of their numbers", number=fewest)
    return said("at least {number}, in any order", number=fewest)


def between_stops(protocol: Protocol, units: Units) -> str | None:
    apart = protocol.min_stop_spacing_m
    return said("at least {length}", length=distance(apart, units.distance)) if apart else None


def between_visits(protocol: Protocol, units: Units) -> str | None:
    apart = protocol.min_days_between_visits
    return said("at least {length}", length=days(apart)) if apart else None


def training(protocol: Protocol, units: Units) -> str | None:
    if not protocol.training_needed:
        return None
    if protocol.without_test is WithoutTest.NOTE:
        return gettext("asked for; a visit without one gets a note")
    return gettext("required")


def without_test(protocol: Protocol, units: Units) -> str | None:
    if protocol.without_test is WithoutTest.NOTE:
        return gettext("a visit gets a note")
    return gettext("a visit gets a question") if protocol.training_needed else None


def from_the_stop(protocol: Protocol, units: Units) -> str | None:
    most = protocol.max_distance_from_stop_m
    return None if most is None else said("at most {length}", length=distance(most, units.distance))


def drive(protocol: Protocol, units: Units) -> str:
    return said("at most {speed}", speed=speed(protocol.max_drive_kmh, units.distance))
