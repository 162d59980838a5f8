"""What the form of a protocol version shows, in words that no rounding makes equal."""

from django.db.models import QuerySet

from accounts.edit_conflicts import (
    Facts,
)
from surveys.dates import day, month_day
from surveys.language import gettext, gettext_noop, said
from surveys.models import (
    ProtocolVersion,
    SeasonWindow,
)
from surveys.programs.versions import protocol_values, units_of
from surveys.protocol import values
from surveys.protocol.limits.exact import exact
from surveys.protocol.limits.phrases import Units, window_in_words
from surveys.protocol.limits.table import LIMITS
from surveys.protocol.values import Temperature
from surveys.protocol.weather import plain_number
from surveys.protocol.words import number


def version_facts(version: ProtocolVersion) -> Facts:
    """Every limit under the label of its field; no such limit is empty."""
    return {
        gettext("In effect from"): day(version.in_force_from),
        **limit_facts(protocol_values(version), units_of(version.protocol.program)),
        gettext("Where the limits come from"): version.source,
    }


def limit_facts(protocol: values.Protocol, units: Units) -> Facts:
    """Season, windows and limits of a protocol, stored or not."""
    limits = {
        limit.in_units(limit.label, units): exact(limit, getattr(protocol, limit.name), units)
        for limit in LIMITS
    }
    return {
        gettext("The season year starts on"): month_day(protocol.season_year_begins),
        gettext("Survey windows"): gettext("; ").join(
            _window(window) for window in protocol.windows
        ),
        **limits,
    }


def version_events(version: ProtocolVersion) -> list[QuerySet]:
    """The histories of a version and of the windows it has or had."""
    windows = SeasonWindow.pgh_event_model.objects.filter(version_id=version.pk)
    return [version.events.all(), windows]


def _window(window: values.SeasonWindow) -> str:
    limits = (
        _temperature_limit(gettext_noop("air from {temperature}"), window.min_air_temperature),
        _temperature_limit(gettext_noop("water from {temperature}"), window.min_water_temperature),
    )
    days = said("{window}: {days}", window=window.name, days=window_in_words(window))
    return gettext(", ").join([days, *filter(None, limits)])


def _temperature_limit(text: str, limit: Temperature | None) -> str:
    if limit is None:
        return ""
    return said(text, temperature=f"{number(plain_number(limit.value))} °{limit.unit.value}")
