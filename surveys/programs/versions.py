"""Protocol versions as rows and as the plain values that the rules read."""

from surveys.models import (
    Program,
    ProtocolVersion,
    SeasonWindow,
)
from surveys.protocol import values
from surveys.protocol.limits.phrases import Units
from surveys.protocol.limits.table import LIMITS
from surveys.protocol.values import (
    DistanceUnit,
    MonthDay,
    Temperature,
    TemperatureUnit,
)


def units_of(program: Program) -> Units:
    """The units in which the program reads its limits."""
    return Units(
        temperature=TemperatureUnit(program.temperature_unit),
        distance=DistanceUnit(program.distance_unit),
    )


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
        **{limit.name: limit.from_column(getattr(version, limit.column)) for limit in LIMITS},
    )


def write_limits(version: ProtocolVersion, protocol: values.Protocol) -> None:
    """Put the limits on the row, without saving; name, number and windows are left alone."""
    version.season_begins_month = protocol.season_year_begins.month
    version.season_begins_day = protocol.season_year_begins.day
    for limit in LIMITS:
        setattr(version, limit.column, limit.to_column(getattr(protocol, limit.name)))


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
