"""What a protocol asks, as a list."""

from __future__ import annotations

from surveys.language import gettext, said
from surveys.protocol.limits.limit import Group
from surveys.protocol.limits.phrases import Units, window_in_words, window_temperature
from surveys.protocol.limits.table import LIMITS
from surveys.protocol.values import Protocol


def limits_in_words(
    protocol: Protocol, units: Units, *, for_coordinators: bool = False
) -> tuple[tuple[str, str], ...]:
    """(name, limit) for every limit that the protocol sets, in the order of an evening.

    The lowest temperatures of the windows come first among the weather.
    """
    rows: list[tuple[str, str | None]] = []
    for group in Group:
        if group is Group.WEATHER:
            rows += (
                (
                    said("Temperature, {window}", window=window.name),
                    window_temperature(window, units),
                )
                for window in protocol.windows
            )
        rows += (
            (gettext(limit.heading), limit.words(protocol, units))
            for limit in LIMITS
            if limit.group is group and (for_coordinators or not limit.for_coordinators)
        )
    return tuple((heading, words) for heading, words in rows if words)


def hearing_in_words(protocol: Protocol, units: Units) -> str:
    """What is heard depends on: hours, time and way of listening, nights and their temperatures.

    Versions of which this says the same are surveyed alike. Names of windows do not matter.
    """
    limits = [
        said("{limit}: {words}", limit=gettext(limit.heading), words=words)
        for limit in LIMITS
        if limit.changes_hearing and (words := limit.words(protocol, units))
    ]
    windows = [
        gettext(", ").join(
            part for part in (window_in_words(window), window_temperature(window, units)) if part
        )
        for window in protocol.windows
    ]
    return gettext("; ").join(
        [*limits, *(said("Window: {window}", window=window) for window in windows)]
    )
