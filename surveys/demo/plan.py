"""Who surveys which route on which night: the seasons of a program, outing by outing."""

import datetime as dt
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from random import Random

from surveys.demo.calendar import Season
from surveys.demo.climate import ONE_DAY, NightWeather
from surveys.demo.dice import dice
from surveys.demo.evenings import Evening, Outing, simulate_evening
from surveys.demo.land import LandRoute
from surveys.demo.nature import occupied_stops
from surveys.demo.truths import ObserverTruth, ProgramTruth, Truths
from surveys.protocol.seasons import window_dates, window_of
from surveys.protocol.values import Protocol, SeasonWindow
from surveys.protocol.weather import to_celsius

_HELPERS = ("", "", "Winifred Oakapple", "Ambrose Pell", "a neighbor")
_WHOLE_VISIT = (
    "turned_back",
    "early_start",
    "short_listening",
    "short_wait",
    "temperature_left_out",
    "out_of_season",
)
_NIGHT_CHOSEN = ("cold_night", "windy_night", "wet_night", "outside_window")
FAVORITES_ROUTES = 3
_TRIES = 14
_MARGIN_C = 2.6
_TOO_COLD_TO_CALL_C = 3.0


@dataclass(frozen=True, kw_only=True)
class PlannedVisit:
    """A visit as it was made: everything but what became of it afterwards."""

    route: str
    observer: str
    season: Season
    outing: Outing
    evening: Evening

    @property
    def key(self) -> tuple[str, dt.date]:
        return self.route, self.outing.night


def roster(
    people: tuple[ObserverTruth, ...],
    routes: tuple[LandRoute, ...],
    seasons: tuple[Season, ...],
    *,
    favorite: str,
    rng: Random,
) -> Mapping[tuple[str, int], str]:
    """E-mail of the observer of each (route code, season year).

    A route keeps its observer as long as they take part; the rest is shared out
    evenly. `favorite` gets the first routes whenever they take part.
    """
    observers: dict[tuple[str, int], str] = {}
    keepers: dict[str, str] = {}
    for season in seasons:
        active = [p.address for p in people if p.takes_part(season.number)]
        load = dict.fromkeys(active, 0)
        for position, route in enumerate(routes):
            keeper = keepers.get(route.code)
            if position < FAVORITES_ROUTES and favorite in load:
                keeper = favorite
            elif keeper not in load or keeper == favorite:
                others = [address for address in active if address != favorite] or active
                rng.shuffle(others)
                keeper = min(others, key=load.__getitem__)
            keepers[route.code] = keeper
            load[keeper] += 1
            observers[route.code, season.year] = keeper
    return observers


def survey(
    truths: Truths,
    program: ProgramTruth,
    routes: tuple[LandRoute, ...],
    seasons: tuple[Season, ...],
    weather: Mapping[dt.date, NightWeather],
    observers: Mapping[tuple[str, int], str],
    *,
    favorite: str,
    until: dt.date,
    seed: int,
) -> Iterator[PlannedVisit]:
    """Every visit of the program before the night of `until`. In the latest season more
    goes wrong than before, and always something on the visits of `favorite`."""
    numbers = tuple(season.number for season in seasons)
    occupied = {
        species.code: occupied_stops(
            truths, species, routes, season_numbers=numbers, seed=f"{seed}/{program.slug}"
        )
        for species in program.species
    }
    out: set[tuple[str, dt.date]] = set()
    for season in seasons:
        for route in routes:
            if season.number < route.since_season:
                continue
            rng = dice(seed, "visits", program.slug, route.code, season.year)
            observer = observers[route.code, season.year]
            here = {
                code: frozenset(
                    stop for r, stop, n in stops if r == route.code and n == season.number
                )
                for code, stops in occupied.items()
            }
            busy = {night for who, night in out if who == observer}
            latest = season == seasons[-1]
            haste = truths.mishaps.latest_season_factor if latest else 1.0
            always = {"short_listening"} if latest and observer == favorite else set()
            for outing in _outings(
                truths, program, route, season, weather, busy, until, haste, always, rng
            ):
                out.add((observer, outing.night))
                evening = simulate_evening(truths, program, outing, here, rng)
                yield PlannedVisit(
                    route=route.code,
                    observer=observer,
                    season=season,
                    outing=outing,
                    evening=evening,
                )


def _outings(
    truths: Truths,
    program: ProgramTruth,
    route: LandRoute,
    season: Season,
    weather: Mapping[dt.date, NightWeather],
    busy: set[dt.date],
    until: dt.date,
    haste: float,
    always: set[str],
    rng: Random,
) -> Iterator[Outing]:
    mishaps, habits = truths.mishaps, truths.habits
    if rng.random() < mishaps.season_missed and season.number < truths.seasons:
        return
    last: dt.date | None = None
    for index in range(len(program.versions[0].protocol.windows)):
        missed = rng.random() < mishaps.window_missed
        flags = always | {
            flag
            for flag in (*_WHOLE_VISIT, *_NIGHT_CHOSEN)
            if rng.random() < haste * getattr(mishaps, flag)
        }
        protocol = program.protocol_on(dt.date(season.year, 6, 1))
        night = _night(protocol, index, season, weather, flags, busy, last, until, rng)
        if missed or night is None:
            continue
        last = night
        busy.add(night)
        recent = season.number > truths.seasons - habits.phone_since_seasons
        by_phone = recent and rng.random() < habits.phone_share
        yield Outing(
            route=route,
            night=night,
            source="phone" if by_phone else "paper",
            second_observer=rng.choice(_HELPERS),
            weather=weather[night],
            flags=frozenset(flags.intersection(_WHOLE_VISIT)),
        )


def _night(
    protocol: Protocol,
    index: int,
    season: Season,
    weather: Mapping[dt.date, NightWeather],
    flags: set[str],
    busy: set[dt.date],
    last: dt.date | None,
    until: dt.date,
    rng: Random,
) -> dt.date | None:
    """A night for a window: one that meets the limits unless a mishap says otherwise."""
    window = protocol.windows[index]
    opens, closes = window_dates(window, season.year, protocol.season_year_begins)
    days = [opens + n * ONE_DAY for n in range((closes - opens).days + 1)]
    if "outside_window" in flags:
        days = [closes + n * ONE_DAY for n in range(1, 6)]
        days = [day for day in days if window_of(day, protocol) is None]
    gap = (protocol.min_days_between_visits or 1) * ONE_DAY
    free = [
        day
        for day in days
        if day < until and day in weather and day not in busy and (not last or day - last >= gap)
    ]
    rng.shuffle(free)
    tried = free[:_TRIES]
    return next((day for day in tried if _fits(protocol, window, weather[day], flags)), None)


def _fits(protocol: Protocol, window: SeasonWindow, weather: NightWeather, flags: set[str]) -> bool:
    coldest = to_celsius(window.min_air_temperature) if window.min_air_temperature else None
    if "cold_night" in flags and coldest is not None:
        return _TOO_COLD_TO_CALL_C < weather.evening_c < float(coldest) + 1
    calm = protocol.max_beaufort is None or weather.beaufort <= protocol.max_beaufort
    dry = weather.sky not in protocol.forbidden_skies
    warm = coldest is None or weather.evening_c >= float(coldest) + _MARGIN_C
    if "windy_night" in flags:
        return not calm and dry and warm
    if "wet_night" in flags:
        return not dry and calm and warm
    return calm and dry and warm
