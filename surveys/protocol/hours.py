"""The hours of a night in which a protocol is run."""

from __future__ import annotations

import datetime as dt

from surveys.protocol.nights import (
    Ambiguous,
    Missing,
    to_instant,
)
from surveys.protocol.values import (
    Protocol,
    StopSky,
)


def earliest_start(protocol: Protocol, sky: StopSky | None) -> dt.datetime | None:
    """The instant before which no listening starts; None without a limit or a sunset."""
    offset = protocol.earliest_start_after_sunset
    if offset is None or sky is None or sky.sunset is None:
        return None
    return sky.sunset + offset


def latest_end(
    protocol: Protocol, sky: StopSky | None, night: dt.date, time_zone: str
) -> dt.datetime | None:
    """The instant after which no listening goes on: the earlier of the protocol's two
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
    return min(limits, default=None)
