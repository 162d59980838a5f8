"""Routes and stops laid out on real land, with invented names and wetlands."""

import math
from dataclasses import dataclass
from random import Random

from surveys.demo.dice import dice
from surveys.demo.truths import ProgramPlaces, ProgramTruth, RoutePlace, StopNames, WetlandTruth
from surveys.protocol.values import Place

STOPS_PER_ROUTE = 10
_METERS_PER_DEGREE = 111_320
_WANDER_DEGREES = 24.0


@dataclass(frozen=True, kw_only=True)
class LandStop:
    number: int
    name: str
    place: Place
    wetland: WetlandTruth


@dataclass(frozen=True, kw_only=True)
class LandRoute:
    code: str
    name: str
    region: str
    since_season: int
    stops: tuple[LandStop, ...]


def lay_out(
    truth: ProgramTruth, places: ProgramPlaces, names: StopNames, *, seed: int, routes: int
) -> tuple[LandRoute, ...]:
    """The first `routes` routes of the program, the same for a seed."""
    return tuple(
        _route(truth, places, route, names, dice(seed, "land", truth.slug, route.code))
        for route in places.routes[:routes]
    )


def _route(
    truth: ProgramTruth,
    places: ProgramPlaces,
    route: RoutePlace,
    names: StopNames,
    rng: Random,
) -> LandRoute:
    latitude, longitude = route.start
    heading = route.heading
    first_words = rng.sample(names.first, STOPS_PER_ROUTE)
    stops = []
    for number in range(1, STOPS_PER_ROUTE + 1):
        wetland = rng.choices(truth.wetlands, weights=[w.share for w in truth.wetlands])[0]
        stops.append(
            LandStop(
                number=number,
                name=f"{first_words[number - 1]} {_second_word(names, wetland.habitat, rng)}",
                place=Place(latitude=round(latitude, 5), longitude=round(longitude, 5)),
                wetland=wetland,
            )
        )
        drawn = route.heading + rng.uniform(-_WANDER_DEGREES, _WANDER_DEGREES)
        heading = (heading + drawn) / 2
        latitude, longitude = _step(latitude, longitude, heading, rng.uniform(*places.spacing_m))
    return LandRoute(
        code=route.code,
        name=route.name,
        region=route.region,
        since_season=route.since_season,
        stops=tuple(stops),
    )


def _second_word(names: StopNames, habitat: str, rng: Random) -> str:
    by_habitat = {entry.habitat: entry.names for entry in names.second}
    return rng.choice(by_habitat.get(habitat, by_habitat["other"]))


def _step(latitude: float, longitude: float, heading: float, meters: float) -> tuple[float, float]:
    north = meters * math.cos(math.radians(heading)) / _METERS_PER_DEGREE
    east = meters * math.sin(math.radians(heading)) / _METERS_PER_DEGREE
    return latitude + north, longitude + east / math.cos(math.radians(latitude))
