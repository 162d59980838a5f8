"""The hours of a night in which a protocol is run.

Rules, phone, Tonight, the printed sheet and the packet all take them from here. They are whole
minutes, rounded to the safe side, so that whoever keeps the time on a screen or a sheet keeps the
rule: the earliest start is rounded up, the latest end down.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection
from dataclasses import dataclass

from surveys.protocol.nights import (
    Ambiguous,
    Missing,
    to_instant,
)
from surveys.protocol.values import (
    Protocol,
    StopSunset,
)

_ONE_MINUTE = dt.timedelta(minutes=1)


@dataclass(frozen=True, kw_only=True)
class NightHours:
    """The hours that hold at every stop of a route; None where there is no such limit."""

    earliest_start: dt.datetime | None
    latest_end: dt.datetime | None


def route_hours(
    protocol: Protocol, skies: Collection[StopSunset | None], night: dt.date, time_zone: str
) -> NightHours:
    """The latest of the stops' earliest starts and the earliest of their latest ends. Along a
    route the sun sets up to a few minutes apart."""
    starts = [earliest_start(protocol, sky) for sky in skies]
    ends = [latest_end(protocol, sky, night, time_zone) for sky in skies or (None,)]
    return NightHours(
        earliest_start=max((start for start in starts if start), default=None),
        latest_end=min((end for end in ends if end), default=None),
    )


def needs_sunset(protocol: Protocol) -> bool:
    """Whether one of its hours depends on the sun."""
    return (
        protocol.earliest_start_after_sunset is not None
        or protocol.latest_end_after_sunset is not None
    )


def earliest_start(protocol: Protocol, sky: StopSunset | None) -> dt.datetime | None:
    """The minute before which no listening starts; None without a limit or a sunset."""
    offset = protocol.earliest_start_after_sunset
    if offset is None or sky is None or sky.sunset is None:
        return None
    return _minute_up(sky.sunset + offset)


def latest_end(
    protocol: Protocol, sky: StopSunset | None, night: dt.date, time_zone: str
) -> dt.datetime | None:
    """The minute after which no listening goes on: the earlier of the protocol's two
    limits, as far as they are set and known.

    Where the clocks change, a clock limit that comes twice is the second one, and one
    that never comes is the moment of the change: the observer gets the benefit.
    """
    limits: list[dt.datetime] = []
    if protocol.latest_end_clock is not None:
        end = to_instant(protocol.latest_end_clock, night, time_zone)
        if isinstance(end, Ambiguous):
            end = end.second
        elif isinstance(end, Missing):
            end = end.jumps_at
        limits.append(end)
    if protocol.latest_end_after_sunset is not None and sky is not None and sky.sunset is not None:
        limits.append(sky.sunset + protocol.latest_end_after_sunset)
    return min(map(_minute_down, limits), default=None)


def _minute_down(instant: dt.datetime) -> dt.datetime:
    return instant.replace(second=0, microsecond=0)


def _minute_up(instant: dt.datetime) -> dt.datetime:
    return _minute_down(instant + _ONE_MINUTE - dt.timedelta(microseconds=1))
