"""The limits of a protocol in plain words, in the program's units."""

from __future__ import annotations

from surveys.protocol.values import (
    DistanceUnit,
    Interruption,
    Protocol,
    SeasonWindow,
    TemperatureUnit,
)
from surveys.protocol.weather import (
    BEAUFORT,
    NOISE_INDEX,
    SKY_CODES,
)
from surveys.protocol.words import (
    days,
    distance,
    duration,
    listed,
    month_day,
    temperature,
)

_INTERRUPTED = {
    Interruption.PAUSE: "stop the clock, then go on with the same listening time",
    Interruption.RESTART: "begin the listening time again",
    Interruption.EXTEND: "listen longer",
}


def limits_in_words(
    protocol: Protocol, temperature_unit: TemperatureUnit, distance_unit: DistanceUnit
) -> tuple[tuple[str, str], ...]:
    """(name, limit) for every limit that the protocol sets, in the order of an evening."""
    rows = (
        ("Earliest start", _earliest_start(protocol)),
        ("Latest end", _latest_end(protocol)),
        ("Settling wait", protocol.settling_wait and duration(protocol.settling_wait)),
        ("Listening time", _listening_time(protocol)),
        ("When a loud event interrupts", _INTERRUPTED[protocol.interruption]),
        *(
            (f"Temperature, {window.name}", _warmth(window, temperature_unit))
            for window in protocol.windows
        ),
        ("Wind", _wind(protocol)),
        ("Sky", _sky(protocol)),
        ("Noise", _noise(protocol)),
        ("Stops", _stops(protocol)),
        (
            "Between stops",
            protocol.min_stop_spacing_m
            and f"at least {distance(protocol.min_stop_spacing_m, distance_unit)}",
        ),
        (
            "Between visits",
            protocol.min_days_between_visits
            and f"at least {days(protocol.min_days_between_visits)}",
        ),
        ("Training", "needed" if protocol.training_needed else None),
    )
    return tuple((name, limit) for name, limit in rows if limit)


def window_in_words(window: SeasonWindow) -> str:
    """`15 December to 15 March`."""
    return f"{month_day(window.opens)} to {month_day(window.closes)}"


def _earliest_start(protocol: Protocol) -> str | None:
    offset = protocol.earliest_start_after_sunset
    if offset is None:
        return None
    if not offset:
        return "sunset"
    side = "after" if offset.total_seconds() > 0 else "before"
    return f"{duration(abs(offset))} {side} sunset"


def _latest_end(protocol: Protocol) -> str | None:
    said = []
    if protocol.latest_end_clock is not None:
        said.append(f"{protocol.latest_end_clock:%H:%M}")
    if protocol.latest_end_after_sunset is not None:
        said.append(f"{duration(protocol.latest_end_after_sunset)} after sunset")
    both = ", whichever comes first" if len(said) == 2 else ""
    return listed(said, last="or") + both or None


def _listening_time(protocol: Protocol) -> str:
    wanted = duration(protocol.listening_time)
    if protocol.longest_listening_time is None:
        return wanted
    return f"{wanted}, up to {duration(protocol.longest_listening_time)} in noise"


def _warmth(window: SeasonWindow, unit: TemperatureUnit) -> str | None:
    limits = (("", window.min_air_temperature), (" in the water", window.min_water_temperature))
    said = [f"at least {temperature(limit, unit)}{place}" for place, limit in limits if limit]
    return "; ".join(said) or None


def _wind(protocol: Protocol) -> str | None:
    if protocol.max_beaufort is None:
        return None
    return f"at most Beaufort {protocol.max_beaufort} ({BEAUFORT[protocol.max_beaufort].sign})"


def _sky(protocol: Protocol) -> str | None:
    if not protocol.wet_sky_codes:
        return None
    codes = (f"{code} ({SKY_CODES.get(code, '')})" for code in sorted(protocol.wet_sky_codes))
    return f"no survey at sky code {', '.join(codes)}"


def _noise(protocol: Protocol) -> str | None:
    if protocol.max_noise_index is None:
        return None
    return f"at most {protocol.max_noise_index} ({NOISE_INDEX[protocol.max_noise_index]})"


def _stops(protocol: Protocol) -> str:
    order = ", in the order of their numbers" if protocol.stops_in_order else ", in any order"
    return f"at least {protocol.min_stops}{order}"
