"""Protocol versions as rows and as the plain values that the rules read."""

import datetime as dt

from surveys.models import (
    ProtocolVersion,
    SeasonWindow,
)
from surveys.protocol import values
from surveys.protocol.values import (
    Interruption,
    MonthDay,
    Temperature,
    TemperatureUnit,
)


def _length(seconds: int | None) -> dt.timedelta | None:
    return None if seconds is None else dt.timedelta(seconds=seconds)


def _minutes(minutes: int | None) -> dt.timedelta | None:
    return None if minutes is None else dt.timedelta(minutes=minutes)


def _window_values(window: SeasonWindow) -> values.SeasonWindow:
    unit = TemperatureUnit(window.temperature_unit)
    air, water = window.min_air_temperature, window.min_water_temperature
    return values.SeasonWindow(
        name=window.name,
        opens=MonthDay(month=window.opens_month, day=window.opens_day),
        closes=MonthDay(month=window.closes_month, day=window.closes_day),
        min_air_temperature=None if air is None else Temperature(value=air, unit=unit),
        min_water_temperature=None if water is None else Temperature(value=water, unit=unit),
    )


def protocol_values(version: ProtocolVersion) -> values.Protocol:
    """A version with its protocol and windows as one value."""
    return values.Protocol(
        name=version.protocol.name,
        version=version.number,
        season_year_begins=MonthDay(
            month=version.season_begins_month, day=version.season_begins_day
        ),
        windows=tuple(_window_values(window) for window in version.windows.all()),
        settling_wait=_length(version.settling_wait_s),
        listening_time=dt.timedelta(seconds=version.listening_time_s),
        longest_listening_time=_length(version.longest_listening_time_s),
        interruption=Interruption(version.interruption),
        earliest_start_after_sunset=_minutes(version.earliest_start_after_sunset_min),
        latest_end_clock=version.latest_end_clock,
        latest_end_after_sunset=_minutes(version.latest_end_after_sunset_min),
        min_stops=version.min_stops,
        stops_in_order=version.stops_in_order,
        min_stop_spacing_m=version.min_stop_spacing_m,
        max_beaufort=version.max_beaufort,
        wet_sky_codes=frozenset(version.wet_sky_codes),
        max_noise_index=version.max_noise_index,
        min_days_between_visits=version.min_days_between_visits,
        max_distance_from_stop_m=version.max_distance_from_stop_m,
        max_drive_kmh=version.max_drive_kmh,
        training_needed=version.training_needed,
    )


def _seconds(length: dt.timedelta | None) -> int | None:
    return None if length is None else round(length.total_seconds())


def _whole_minutes(length: dt.timedelta | None) -> int | None:
    return None if length is None else round(length.total_seconds() / 60)


def write_limits(version: ProtocolVersion, limits: values.Protocol) -> None:
    """Put the limits on the row, without saving; name, number and windows are left alone."""
    version.season_begins_month = limits.season_year_begins.month
    version.season_begins_day = limits.season_year_begins.day
    version.settling_wait_s = _seconds(limits.settling_wait)
    version.listening_time_s = _seconds(limits.listening_time)
    version.longest_listening_time_s = _seconds(limits.longest_listening_time)
    version.interruption = limits.interruption.value
    version.earliest_start_after_sunset_min = _whole_minutes(limits.earliest_start_after_sunset)
    version.latest_end_clock = limits.latest_end_clock
    version.latest_end_after_sunset_min = _whole_minutes(limits.latest_end_after_sunset)
    version.min_stops = limits.min_stops
    version.stops_in_order = limits.stops_in_order
    version.min_stop_spacing_m = limits.min_stop_spacing_m
    version.max_beaufort = limits.max_beaufort
    version.wet_sky_codes = sorted(limits.wet_sky_codes)
    version.max_noise_index = limits.max_noise_index
    version.min_days_between_visits = limits.min_days_between_visits
    version.max_distance_from_stop_m = limits.max_distance_from_stop_m
    version.max_drive_kmh = limits.max_drive_kmh
    version.training_needed = limits.training_needed


def window_rows(version: ProtocolVersion, limits: values.Protocol) -> list[SeasonWindow]:
    """Unsaved rows for the windows, in the order given."""
    return [
        _window_row(version, order, window) for order, window in enumerate(limits.windows, start=1)
    ]


def _window_row(version: ProtocolVersion, order: int, window: values.SeasonWindow) -> SeasonWindow:
    air, water = window.min_air_temperature, window.min_water_temperature
    unit = (air or water or Temperature(value=0, unit=TemperatureUnit.CELSIUS)).unit
    return SeasonWindow(
        version=version,
        order=order,
        name=window.name,
        opens_month=window.opens.month,
        opens_day=window.opens.day,
        closes_month=window.closes.month,
        closes_day=window.closes.day,
        min_air_temperature=air and air.value,
        min_water_temperature=water and water.value,
        temperature_unit=unit.value,
    )
