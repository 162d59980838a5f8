"""What the form of a protocol version shows, in words that no rounding makes equal."""

import datetime as dt

from django.db.models import QuerySet

from accounts.edit_conflicts import (
    Facts,
    yes_or_no,
)
from surveys.models import (
    ProtocolVersion,
    SeasonWindow,
)
from surveys.programs.versions import protocol_values
from surveys.protocol import values
from surveys.protocol.limits import window_in_words
from surveys.protocol.values import (
    DistanceUnit,
    Temperature,
)
from surveys.protocol.weather import plain_number
from surveys.protocol.words import (
    day,
    distance,
    duration,
    listed,
    month_day,
)


def version_facts(version: ProtocolVersion) -> Facts:
    """Every limit under the label of its field; no such limit is empty."""
    limits = protocol_values(version)
    unit = DistanceUnit(version.protocol.program.distance_unit)
    return {
        "In force from": day(version.in_force_from),
        "The season year begins on": month_day(limits.season_year_begins),
        "Season windows": "; ".join(_window(window) for window in limits.windows),
        "Earliest start": _after_sunset(limits.earliest_start_after_sunset),
        "Latest end, by the clock": _known(limits.latest_end_clock, "{:%H:%M}"),
        "Latest end, after sunset": _length(limits.latest_end_after_sunset),
        "Settling wait": _length(limits.settling_wait),
        "Listening time": _length(limits.listening_time),
        "Longest listening time": _length(limits.longest_listening_time),
        "When a loud event interrupts": limits.interruption.value,
        "Strongest wind": _known(limits.max_beaufort, "Beaufort {}"),
        "Do not survey under these skies": listed(sorted(limits.wet_sky_codes)),
        "Loudest noise": _known(limits.max_noise_index, "{}"),
        "Fewest stops on a visit": str(limits.min_stops),
        "Fewest between stops": _meters(limits.min_stop_spacing_m, unit),
        "Farthest from the stop": _meters(limits.max_distance_from_stop_m, unit),
        "Fastest drive between stops": f"{limits.max_drive_kmh:.1f} km/h",
        "Days between visits": _known(limits.min_days_between_visits, "{}"),
        "Stops in the order of their numbers": yes_or_no(limits.stops_in_order),
        "Observers need a record of training": yes_or_no(limits.training_needed),
        "Where the limits come from": version.source,
    }


def version_events(version: ProtocolVersion) -> list[QuerySet]:
    """The histories of a version and of the windows it has or had."""
    windows = SeasonWindow.pgh_event_model.objects.filter(version_id=version.pk)
    return [version.events.all(), windows]


def _known(value: object, pattern: str) -> str:
    return "" if value is None else pattern.format(value)


def _length(length: dt.timedelta | None) -> str:
    return "" if length is None else duration(length)


def _after_sunset(offset: dt.timedelta | None) -> str:
    if offset is None:
        return ""
    side = "before" if offset < dt.timedelta(0) else "after"
    return f"{duration(abs(offset))} {side} sunset"


def _meters(meters: float | None, unit: DistanceUnit) -> str:
    if meters is None:
        return ""
    exact = f"{meters:.1f} m"
    return exact if unit is DistanceUnit.KILOMETERS else f"{distance(meters, unit)} ({exact})"


def _window(window: values.SeasonWindow) -> str:
    limits = (
        _warmth("air", window.min_air_temperature),
        _warmth("water", window.min_water_temperature),
    )
    return ", ".join(
        [f"{window.name}: {window_in_words(window)}", *(limit for limit in limits if limit)]
    )


def _warmth(where: str, limit: Temperature | None) -> str:
    return f"{where} from {plain_number(limit.value)} °{limit.unit.value}" if limit else ""
