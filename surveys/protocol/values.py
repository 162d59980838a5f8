"""Plain values that the protocol rules read and write.

Everything here is frozen and framework-free: a visit from the phone, from a
paper sheet or from a spreadsheet becomes the same values before a rule sees it.
Instants are time-zone aware and in UTC; a `night` is the local date on which
the evening began.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from enum import StrEnum
from typing import Any

from surveys.protocol.own_fields import OwnField


class Severity(StrEnum):
    """How strongly a finding stands in the way of a visit."""

    REFUSE = "refuse"
    QUERY = "query"
    NOTE = "note"


class TemperatureUnit(StrEnum):
    CELSIUS = "C"
    FAHRENHEIT = "F"


class RainUnit(StrEnum):
    MILLIMETERS = "mm"
    INCHES = "in"


class DistanceUnit(StrEnum):
    KILOMETERS = "km"
    MILES = "mi"


def rain_unit_beside(temperature_unit: TemperatureUnit) -> RainUnit:
    """The unit of the rain gauges where temperatures are read in `temperature_unit`: inches
    beside °F, millimeters beside °C (common practice, no source)."""
    fahrenheit = temperature_unit is TemperatureUnit.FAHRENHEIT
    return RainUnit.INCHES if fahrenheit else RainUnit.MILLIMETERS


class PeriodStatus(StrEnum):
    """Whether a stop was listened to. Only a listened stop can hold a zero."""

    LISTENED = "listened"
    SKIPPED = "skipped"


class SkyState(StrEnum):
    """What the sky does while somebody listens; the words are in `weather.SKY`."""

    CLEAR = "clear"
    PARTLY_CLOUDY = "partly_cloudy"
    OVERCAST = "overcast"
    FOG = "fog"
    DRIZZLE = "drizzle"
    LIGHT_RAIN = "light_rain"
    HEAVY_RAIN = "heavy_rain"
    SNOW = "snow"
    THUNDER = "thunder"


class NoiseEffect(StrEnum):
    """What noise does to hearing, from none to all; the words are in `weather.NOISE`."""

    QUIET = "quiet"
    HEARD_THROUGH = "heard_through"
    FAINT_LOST = "faint_lost"
    LOUD_ONLY = "loud_only"
    ALL_LOST = "all_lost"

    @property
    def step(self) -> int:
        """0 for quiet to 4; only the order of the steps means something."""
        return list(NoiseEffect).index(self)


class CallDistance(StrEnum):
    """Where the nearest caller of a species was, seen from the stop: within the listening radius
    of the protocol, or all of them beyond it."""

    NEAR = "near"
    FAR = "far"


class Interruption(StrEnum):
    """What the protocol asks for when a loud event breaks the listening."""

    PAUSE = "pause"
    RESTART = "restart"
    EXTEND = "extend"


class WithoutTest(StrEnum):
    """What a visit gets where the protocol asks for a call-identification test and the observer has
    no valid one on record."""

    QUESTION = "question"
    NOTE = "note"


@dataclass(frozen=True, kw_only=True, order=True)
class MonthDay:
    """A day of the year without a year, such as 1 December."""

    month: int
    day: int


@dataclass(frozen=True, kw_only=True)
class Place:
    """A WGS84 point in degrees."""

    latitude: float
    longitude: float


@dataclass(frozen=True, kw_only=True)
class Temperature:
    """A temperature as it was read; compared in °C, shown in the unit read."""

    value: Decimal
    unit: TemperatureUnit


@dataclass(frozen=True, kw_only=True)
class Rain:
    """Rain as it was read. `amount` is None for a trace: rain that fell, too little to measure."""

    amount: Decimal | None
    unit: RainUnit

    @property
    def is_trace(self) -> bool:
        return self.amount is None


@dataclass(frozen=True, kw_only=True)
class SeasonWindow:
    """Days of the year in which one visit is due. `closes` may precede `opens`
    in the calendar: such a window crosses New Year."""

    name: str
    opens: MonthDay
    closes: MonthDay
    min_air_temperature: Temperature | None = None
    min_water_temperature: Temperature | None = None


@dataclass(frozen=True, kw_only=True)
class Protocol:
    """One version of a protocol. `None` means that the protocol sets no limit.

    Times of the night: `earliest_start_after_sunset` is an offset from sunset;
    the latest end is either a local clock time (`latest_end_clock`, which may lie
    after midnight) or an offset from sunset (`latest_end_after_sunset`).

    `sky_codes` and `noise_codes` are numbers or letters that the protocol itself writes on paper
    and in its archive, and what they stand for; several codes may stand for one state.
    """

    name: str
    version: int
    season_year_begins: MonthDay
    windows: tuple[SeasonWindow, ...]
    settling_wait: dt.timedelta | None = None
    listening_time: dt.timedelta
    longest_listening_time: dt.timedelta | None = None
    interruption: Interruption = Interruption.PAUSE
    listening_radius_m: float | None = None
    earliest_start_after_sunset: dt.timedelta | None = None
    latest_end_clock: dt.time | None = None
    latest_end_after_sunset: dt.timedelta | None = None
    min_stops: int = 1
    stops_in_order: bool = True
    min_stop_spacing_m: float | None = None
    max_beaufort: int | None = None
    forbidden_skies: frozenset[SkyState] = frozenset()
    loudest_noise: NoiseEffect | None = None
    min_days_between_visits: int | None = None
    max_distance_from_stop_m: float | None = 100.0
    max_drive_kmh: float = 100.0
    plausible_temperature_c: tuple[Decimal, Decimal] = (Decimal(-15), Decimal(45))
    training_needed: bool = False
    without_test: WithoutTest = WithoutTest.QUESTION
    sky_codes: Mapping[str, SkyState] = field(default_factory=dict)
    noise_codes: Mapping[str, NoiseEffect] = field(default_factory=dict)

    @property
    def asks_water_temperature(self) -> bool:
        """Whether the sheet asks for it, because a window sets a limit to it."""
        return any(window.min_water_temperature for window in self.windows)


@dataclass(frozen=True, kw_only=True)
class ChecklistSpecies:
    """A species that observers listen for. `season` is None when it may call
    at any time of the year; the first day may follow the last (crosses New Year)."""

    code: str
    common_name: str
    scientific_name: str
    season: tuple[MonthDay, MonthDay] | None = None


class StopUse(StrEnum):
    """Whether a stop is part of its route on the night: it is, it is not, or another stop has
    its number. What is not was so when the observer took the route along."""

    IN_USE = "in_use"
    CLOSED = "closed"
    REPLACED = "replaced"


@dataclass(frozen=True, kw_only=True)
class Stop:
    """One stop of a route, numbered from 1 in driving order."""

    number: int
    name: str
    place: Place
    use: StopUse = StopUse.IN_USE


@dataclass(frozen=True, kw_only=True)
class Route:
    """A route as it stood on the night: its stops, checklist, zone, units and the program's own
    fields."""

    code: str
    name: str
    time_zone: str
    stops: tuple[Stop, ...]
    checklist: tuple[ChecklistSpecies, ...] = ()
    temperature_unit: TemperatureUnit = TemperatureUnit.CELSIUS
    distance_unit: DistanceUnit = DistanceUnit.KILOMETERS
    own_fields: tuple[OwnField, ...] = ()

    @property
    def rain_unit(self) -> RainUnit:
        return rain_unit_beside(self.temperature_unit)


@dataclass(frozen=True, kw_only=True)
class CallRecord:
    """What was written down for one species at one stop.

    `index` is 0-3, or None when the cell was opened and left without an answer.
    `not_sure` marks "heard, not sure": it is neither a detection nor a zero. `distance` is asked
    for where the protocol has a listening radius; None where it was not written down.
    """

    species: str
    index: int | None
    not_sure: bool = False
    distance: CallDistance | None = None


@dataclass(frozen=True, kw_only=True)
class Weather:
    """Weather written down at the start or the end of a visit."""

    air_temperature: Temperature | None = None
    beaufort: int | None = None
    sky: SkyState | None = None


@dataclass(frozen=True, kw_only=True)
class Period:
    """One listening period: one stop on one visit. Instants are UTC.

    `paused` is time that the listening stood still (a loud event), so the time
    listened is `finished_at - started_at - paused`. `own_filled` are the keys of the program's
    own fields that have a value here.
    """

    stop: int
    status: PeriodStatus = PeriodStatus.LISTENED
    arrived_at: dt.datetime | None = None
    started_at: dt.datetime | None = None
    finished_at: dt.datetime | None = None
    paused: dt.timedelta = dt.timedelta(0)
    air_temperature: Temperature | None = None
    water_temperature: Temperature | None = None
    beaufort: int | None = None
    sky: SkyState | None = None
    noise: NoiseEffect | None = None
    measured_at: Place | None = None
    measured_accuracy_m: float | None = None
    calls: tuple[CallRecord, ...] = ()
    own_filled: frozenset[str] = frozenset()


@dataclass(frozen=True, kw_only=True)
class Visit:
    """One route on one night. `own_filled` as in `Period`."""

    night: dt.date
    periods: tuple[Period, ...]
    start: Weather = field(default_factory=Weather)
    end: Weather = field(default_factory=Weather)
    own_filled: frozenset[str] = frozenset()


@dataclass(frozen=True, kw_only=True)
class StopSunset:
    """When the sun sets over one stop on one night; None where it never does. Rules ask no more."""

    sunset: dt.datetime | None


@dataclass(frozen=True, kw_only=True)
class StopSky(StopSunset):
    """Sun over one stop on one night. None where the event does not happen
    (the sun never sets, or twilight lasts all night)."""

    civil_dusk: dt.datetime | None
    sunrise: dt.datetime | None


@dataclass(frozen=True, kw_only=True)
class Surroundings:
    """What the rules must know besides the visit itself.

    `other_nights` are the nights of the route's other visits in the same season
    year; `now` is the instant of judging; `observer_qualified` is None when the
    program keeps no record of training.
    """

    now: dt.datetime
    other_nights: tuple[dt.date, ...] = ()
    observer_qualified: bool | None = None


@dataclass(frozen=True, kw_only=True)
class Case:
    """All that the rules may look at. `sky` maps stop numbers to their sky; a stop that
    is left out has one that is not known."""

    visit: Visit
    route: Route
    protocol: Protocol
    sky: Mapping[int, StopSunset]
    surroundings: Surroundings


@dataclass(frozen=True, kw_only=True)
class Where:
    """The place a finding speaks of. All None: the visit as a whole.

    `field` is a name of the sheet, such as `air_temperature` or `started_at`; readings
    of the start and the end of a visit are `start.air_temperature` and so on. A finding
    on a species has the field `index`.
    """

    stop: int | None = None
    field: str | None = None
    species: str | None = None


@dataclass(frozen=True, kw_only=True)
class Finding:
    """What a rule says of a visit.

    `variant` chooses between the sentences of a code, `params` fill the sentence (`params.py`);
    `telling.py` says it in words.
    """

    code: str
    severity: Severity
    where: Where
    variant: str = ""
    params: Mapping[str, Any] = field(default_factory=dict)
