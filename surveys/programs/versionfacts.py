"""What the form of a protocol version shows, in words that no rounding makes equal."""

from django.db.models import QuerySet

from accounts.edit_conflicts import (
    Facts,
)
from surveys.dates import day, month_day
from surveys.language import said
from surveys.models import (
    ProtocolVersion,
    SeasonWindow,
)
from surveys.programs.versions import protocol_values, units_of
from surveys.protocol import values
from surveys.protocol.limits.exact import exact
from surveys.protocol.limits.phrases import window_in_words
from surveys.protocol.limits.table import LIMITS
from surveys.protocol.values import Temperature
from surveys.protocol.weather import plain_number


def version_facts(version: ProtocolVersion) -> Facts:
    """Every limit under the label of its field; no such limit is empty."""
    protocol = protocol_values(version)
    units = units_of(version.protocol.program)
    limits = {
        limit.in_units(limit.label, units): exact(limit, getattr(protocol, limit.name), units)
        for limit in LIMITS
    }
    return {
        "In force from": day(version.in_force_from),
        "The season year starts on": month_day(protocol.season_year_begins),
        "Survey windows": "; ".join(_window(window) for window in protocol.windows),
        **limits,
        "Where the limits come from": version.source,
    }


def version_events(version: ProtocolVersion) -> list[QuerySet]:
    """The histories of a version and of the windows it has or had."""
    windows = SeasonWindow.pgh_event_model.objects.filter(version_id=version.pk)
    return [version.events.all(), windows]


def _window(window: values.SeasonWindow) -> str:
    limits = (
        _warmth("air", window.min_air_temperature),
        _warmth("water", window.min_water_temperature),
    )
    return ", ".join(
        [f"{window.name}: {window_in_words(window)}", *(limit for limit in limits if limit)]
    )


def _warmth(where: str, limit: Temperature | None) -> str:
    return (
        said(
            "{where} from {plain_number} °{unit}",
            where=where,
            plain_number=plain_number(limit.value),
            unit=limit.unit.value,
        )
        if limit
        else ""
    )
