"""One evening on a route, written down as the cells of a sheet."""

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import ROUND_HALF_UP, Decimal
from random import Random
from zoneinfo import ZoneInfo

from surveys.demo.climate import NightWeather, is_filled, water_tonight
from surveys.demo.dice import dice
from surveys.demo.land import LandRoute, LandStop
from surveys.demo.nature import REFERENCE_HOURS, call_index, detection
from surveys.demo.truths import Mishaps, ProgramTruth, Truths
from surveys.protocol.distance import distance_m
from surveys.protocol.seasons import in_days
from surveys.protocol.sky import stop_sky
from surveys.protocol.values import (
    Interruption,
    NoiseEffect,
    Protocol,
    RainUnit,
    SkyState,
    TemperatureUnit,
    rain_unit_beside,
)

MINUTE = dt.timedelta(minutes=1)
_HOUR = dt.timedelta(hours=1)
_METERS_PER_MINUTE = 650.0
_CM_PER_INCH = 2.54
# How often a species that does not live at a stop is heard there from beyond the listening radius.
_FAR_CALL = 0.03

_SKIP_REASONS = (
    "No safe place to stand, trucks passing.",
    "Road under water.",
    "Gate closed.",
    "Dogs loose at the farm, drove on.",
    "Logging crew at work.",
)
_TURN_BACK_NOTES = (
    "Turned back, thunder to the west.",
    "Flat tire after the last stop written here. The rest was not reached.",
    "Fog came in, not safe to drive on.",
)
_NOTES = (
    "",
    "",
    "",
    "Quiet night, hardly a car.",
    "Owls at several stops.",
    "Ground very wet after the rain of the week.",
    "Ditches mown since last time.",
    "Trained a new helper with the thermometer.",
)


_SEEN = (
    ("eggs", 1, 12),
    ("larva", 5, 200),
    ("metamorph", 1, 20),
    ("juvenile", 1, 6),
    ("adult", 1, 4),
)
_COLOR_FORMS = ("", "", "green", "brown", "gray", "dark-striped")
_SIGHTING_NOTES = ("", "", "On the road, walked across.", "In the shallows by the culvert.")


@dataclass(frozen=True, kw_only=True)
class Outing:
    """Who goes where, when and how; `flags` are names of mishaps that happen."""

    route: LandRoute
    night: dt.date
    source: str
    second_observer: str
    weather: NightWeather
    flags: frozenset[str]


@dataclass(frozen=True, kw_only=True)
class Trial:
    """One occupied stop listened to: the stated chance, and what came of it (0-3)."""

    stop: int
    species: str
    chance: float
    index: int


@dataclass(frozen=True, kw_only=True)
class Evening:
    cells: dict[str, str]
    finished_at: dt.datetime
    trials: tuple[Trial, ...]


@dataclass(kw_only=True)
class _Pen:
    """Writes cells the way the observer would: clock and unit of their sheet."""

    zone: ZoneInfo
    unit: TemperatureUnit
    by_phone: bool
    protocol: Protocol
    cells: dict[str, str] = field(default_factory=dict)

    def write(self, address: str, value: object) -> None:
        if value is not None and value != "":
            self.cells[address] = str(value)

    def time(self, address: str, instant: dt.datetime) -> None:
        if self.by_phone:
            self.write(address, instant.isoformat().replace("+00:00", "Z"))
        else:
            self.write(address, f"{instant.astimezone(self.zone):%H:%M}")

    def temperature(self, address: str, celsius: float) -> None:
        if self.unit is TemperatureUnit.FAHRENHEIT:
            self.write(address, round(celsius * 1.8 + 32))
        else:
            halves = (Decimal(str(celsius)) * 2).quantize(Decimal(1), ROUND_HALF_UP) / 2
            self.write(address, halves)

    def sky(self, address: str, state: SkyState) -> None:
        self._state(address, state, self.protocol.sky_codes)

    def noise(self, address: str, effect: NoiseEffect) -> None:
        self._state(address, effect, self.protocol.noise_codes)

    def _state(self, address: str, state: str, codes: Mapping[str, str]) -> None:
        """In words; on paper by the protocol's code where it has one."""
        own = [] if self.by_phone else [code for code in codes if codes[code] == state]
        self.write(address, own[0] if own else state)

    def call(self, address: str, index: int, distance: str) -> None:
        """Where the protocol has a listening radius, with near or far."""
        has_radius = self.protocol.listening_radius_m is not None
        self.write(address, f"{index} {distance}" if has_radius else index)

    @property
    def in_inches(self) -> bool:
        return rain_unit_beside(self.unit) is RainUnit.INCHES

    def rain(self, address: str, millimeters: float) -> None:
        self.write(address, round(millimeters / 25.4, 2) if self.in_inches else millimeters)


def simulate_evening(
    truths: Truths,
    program: ProgramTruth,
    outing: Outing,
    occupied: Mapping[str, frozenset[int]],
    rng: Random,
) -> Evening:
    """Survey the route. `occupied` maps species codes to the stops they live at."""
    mishaps = truths.mishaps
    protocol = program.protocol_on(outing.night)
    pen = _Pen(
        zone=ZoneInfo(program.time_zone),
        unit=program.temperature_unit,
        by_phone=outing.source == "phone",
        protocol=protocol,
    )
    sunset = stop_sky(outing.route.stops[0].place, outing.night, program.time_zone).sunset
    if sunset is None:
        raise ValueError(f"The sun does not set at {outing.route.code} on {outing.night}.")
    clock = _first_arrival(sunset, protocol, outing, rng)
    reached = _stops_reached(outing, rng)
    special = {flag: rng.choice(reached).number for flag in sorted(outing.flags)}
    _head(pen, outing, rng)
    _weather(pen, "start", outing.weather, _air(program, outing, sunset, clock))
    trials: list[Trial] = []
    before: LandStop | None = None
    for stop in reached:
        if before is not None:
            meters = distance_m(before.place, stop.place)
            clock += MINUTE * (meters / _METERS_PER_MINUTE + rng.uniform(1.2, 3.5))
            clock = _to_clock(clock, pen)
        before = stop
        at = f"stops.{stop.number}"
        if rng.random() < mishaps.stop_skipped and not outing.flags:
            pen.write(f"{at}.status", "skipped")
            pen.write(f"{at}.skip_reason", rng.choice(_SKIP_REASONS))
            continue
        here = {flag for flag, number in special.items() if number == stop.number}
        started, clock = _listen(pen, at, protocol, clock, here, rng)
        celsius = _air(program, outing, sunset, started) + rng.gauss(0, 0.3)
        _stop_weather(pen, at, stop, program, outing, celsius, started, here, mishaps, rng)
        trials_here = _calls(program, outing, stop, occupied, celsius, sunset, started, rng)
        for trial in trials_here:
            if trial.index:
                pen.call(f"{at}.calls.{trial.species}", trial.index, "near")
        if protocol.listening_radius_m is not None:
            _far_calls(pen, at, program, outing, stop, trials_here)
        trials += trials_here
        _unsure_calls(pen, at, program, trials_here, mishaps, rng)
    _weather(pen, "end", outing.weather, _air(program, outing, sunset, clock))
    if "out_of_season" in outing.flags:
        _out_of_season(pen, program, outing, reached, rng)
    if rng.random() < truths.habits.sighting_chance:
        _sighting(pen, outing, trials, rng)
    return Evening(cells=pen.cells, finished_at=clock, trials=tuple(trials))


def _first_arrival(
    sunset: dt.datetime, protocol: Protocol, outing: Outing, rng: Random
) -> dt.datetime:
    offset = protocol.earliest_start_after_sunset or dt.timedelta(0)
    lag = rng.uniform(2, 34)
    if "early_start" in outing.flags:
        lag = -rng.uniform(6, 18)
    arrival = sunset + offset + lag * MINUTE
    return arrival.replace(second=0, microsecond=0) + MINUTE


def _stops_reached(outing: Outing, rng: Random) -> tuple[LandStop, ...]:
    if "turned_back" in outing.flags:
        return outing.route.stops[: rng.randint(4, 7)]
    return outing.route.stops


def _to_clock(instant: dt.datetime, pen: _Pen) -> dt.datetime:
    """The next full minute on a watch, the next full second on a phone."""
    if pen.by_phone:
        return instant.replace(microsecond=0) + dt.timedelta(seconds=1)
    return instant.replace(second=0, microsecond=0) + MINUTE


def _listen(
    pen: _Pen, at: str, protocol: Protocol, arrived: dt.datetime, here: set[str], rng: Random
) -> tuple[dt.datetime, dt.datetime]:
    """Write the times of a listening period; returns its start and end."""
    wait = dt.timedelta(0) if "short_wait" in here else _wait(protocol, rng)
    started = arrived + wait
    length = protocol.listening_time
    if "short_listening" in here:
        length -= rng.choice((1, 2)) * MINUTE
    if protocol.interruption is Interruption.PAUSE and rng.random() < 0.03:
        length += 2 * MINUTE
        pen.write(f"{at}.paused_minutes", 2)
        pen.write(f"{at}.interrupted", "yes")
    finished = started + length
    pen.write(f"{at}.status", "listened")
    pen.time(f"{at}.arrived_at", arrived)
    pen.time(f"{at}.started_at", started)
    pen.time(f"{at}.finished_at", finished)
    return started, finished


def _wait(protocol: Protocol, rng: Random) -> dt.timedelta:
    shortest = protocol.settling_wait or dt.timedelta(0)
    return shortest + rng.choice((0, 0, 1)) * MINUTE


def _air(program: ProgramTruth, outing: Outing, sunset: dt.datetime, instant: dt.datetime) -> float:
    late = (instant - sunset) / _HOUR - REFERENCE_HOURS
    return outing.weather.evening_c - program.climate.cooling_c_per_hour * late


def _head(pen: _Pen, outing: Outing, rng: Random) -> None:
    weather = outing.weather
    pen.write("night", outing.night.isoformat())
    pen.write("temperature_unit", pen.unit.value)
    pen.write("rain_unit", rain_unit_beside(pen.unit).value)
    pen.write("second_observer", outing.second_observer)
    if rng.random() < 0.8:
        pen.rain("rain_48h", weather.rain_48h_mm)
    note = rng.choice(_TURN_BACK_NOTES if "turned_back" in outing.flags else _NOTES)
    pen.write("notes", note)


def _weather(pen: _Pen, at: str, weather: NightWeather, celsius: float) -> None:
    pen.temperature(f"{at}.air_temperature", celsius)
    pen.write(f"{at}.beaufort", weather.beaufort)
    pen.sky(f"{at}.sky", weather.sky)


def _stop_weather(
    pen: _Pen,
    at: str,
    stop: LandStop,
    program: ProgramTruth,
    outing: Outing,
    celsius: float,
    started: dt.datetime,
    here: set[str],
    mishaps: Mishaps,
    rng: Random,
) -> None:
    weather = outing.weather
    if "temperature_left_out" not in here:
        pen.temperature(f"{at}.air_temperature", celsius)
    pen.write(f"{at}.beaufort", max(0, weather.beaufort - (rng.random() < 0.25)))
    pen.sky(f"{at}.sky", weather.sky)
    noise = rng.choices((0, 1, 2, 3), weights=(0.4, 0.35, 0.18, 0.07))[0]
    loudest = rng.random() < mishaps.loud_stop
    pen.noise(f"{at}.noise", NoiseEffect.ALL_LOST if loudest else list(NoiseEffect)[noise])
    depth_cm = max(0, rng.gauss(25, 8))
    depth = round(depth_cm / _CM_PER_INCH if pen.in_inches else depth_cm)
    water = water_tonight(stop.wetland.hydroperiod, program.filling, outing.night, weather)
    pen.write(f"{at}.water_tonight", "not_seen" if rng.random() < 0.06 else water)
    pen.write(f"{at}.own.water_depth", 0 if water == "dry" else depth)
    if pen.by_phone:
        pen.write(f"{at}.latitude", round(stop.place.latitude + rng.gauss(0, 8e-5), 6))
        pen.write(f"{at}.longitude", round(stop.place.longitude + rng.gauss(0, 8e-5), 6))
        pen.write(f"{at}.accuracy_m", rng.randint(4, 18))


def _calls(
    program: ProgramTruth,
    outing: Outing,
    stop: LandStop,
    occupied: Mapping[str, frozenset[int]],
    celsius: float,
    sunset: dt.datetime,
    started: dt.datetime,
    rng: Random,
) -> list[Trial]:
    filled = is_filled(program.filling, outing.night, outing.weather)
    trials = []
    for species in program.species:
        if stop.number not in occupied[species.code]:
            continue
        chance = 0.0
        if filled or not species.needs_filling:
            chance = detection(
                species,
                night=outing.night,
                temperature_c=celsius,
                hours_after_sunset=(started - sunset) / _HOUR,
            )
        index = call_index(species, rng) if rng.random() < chance else 0
        trials.append(Trial(stop=stop.number, species=species.code, chance=chance, index=index))
    return trials


def _far_calls(
    pen: _Pen,
    at: str,
    program: ProgramTruth,
    outing: Outing,
    stop: LandStop,
    trials: list[Trial],
) -> None:
    """Species that do not live at the stop, from wetlands beyond the radius. Their dice are their
    own, so that the same evening without a radius stays as it is."""
    rng = dice("far", outing.route.code, outing.night, stop.number)
    here = {trial.species for trial in trials}
    filled = is_filled(program.filling, outing.night, outing.weather)
    for species in program.species:
        calls = in_days(outing.night, *species.season) and (filled or not species.needs_filling)
        if species.code not in here and calls and rng.random() < _FAR_CALL:
            pen.call(f"{at}.calls.{species.code}", call_index(species, rng), "far")


def _unsure_calls(
    pen: _Pen,
    at: str,
    program: ProgramTruth,
    trials: list[Trial],
    mishaps: Mishaps,
    rng: Random,
) -> None:
    """Now and then a species that lives here is heard too faintly to be sure."""
    unheard = [trial.species for trial in trials if trial.chance and not trial.index]
    for code in unheard:
        if rng.random() < mishaps.not_sure * len(program.species):
            pen.write(f"{at}.calls.{code}", "?")


def _sighting(pen: _Pen, outing: Outing, trials: list[Trial], rng: Random) -> None:
    """An animal or its spawn seen near where its kind calls."""
    heard = [trial for trial in trials if trial.index]
    if not heard:
        return
    trial = rng.choice(heard)
    stage, least, most = rng.choice(_SEEN)
    pen.write("sightings.1.stop", trial.stop)
    pen.write("sightings.1.species", trial.species)
    pen.write("sightings.1.life_stage", stage)
    pen.write("sightings.1.count", rng.randint(least, most))
    if stage == "adult":
        pen.write("sightings.1.color_form", rng.choice(_COLOR_FORMS))
    pen.write("sightings.1.note", rng.choice(_SIGHTING_NOTES))


def _out_of_season(
    pen: _Pen,
    program: ProgramTruth,
    outing: Outing,
    reached: tuple[LandStop, ...],
    rng: Random,
) -> None:
    away = [s.code for s in program.species if not in_days(outing.night, *s.season)]
    listened = [s for s in reached if f"stops.{s.number}.started_at" in pen.cells]
    if away and listened:
        pen.call(f"stops.{rng.choice(listened).number}.calls.{rng.choice(away)}", 1, "near")
