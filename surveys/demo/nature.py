"""What lives where, and what can be heard of it on a night: the truths at work."""

import datetime as dt
import math
from random import Random

from surveys.demo.calendar import days_between
from surveys.demo.dice import dice
from surveys.demo.land import LandRoute
from surveys.demo.truths import SpeciesTruth, Truths, WetlandTruth, logistic, occupancy
from surveys.protocol.seasons import in_days

REFERENCE_HOURS = 1.5


def is_suitable(species: SpeciesTruth, wetland: WetlandTruth) -> bool:
    return (
        wetland.habitat in species.habitats
        and (not species.hydroperiods or wetland.hydroperiod in species.hydroperiods)
        and (not species.fish or wetland.fish in species.fish)
    )


def occupied_stops(
    truths: Truths,
    species: SpeciesTruth,
    routes: tuple[LandRoute, ...],
    *,
    season_numbers: tuple[int, ...],
    seed: str,
) -> frozenset[tuple[str, int, int]]:
    """(route code, stop number, season number) of every occupied stop.

    Each suitable stop has a rank between 0 and 1 and is occupied while it lies below
    the occupancy of the season year; now and then it draws a new rank.
    """
    occupied = set()
    for route in routes:
        for stop in route.stops:
            if not is_suitable(species, stop.wetland):
                continue
            rng = dice(seed, species.code, route.code, stop.number)
            rank = rng.random()
            for number in season_numbers:
                if rng.random() > truths.persistence:
                    rank = rng.random()
                if rank < occupancy(species, number, truths.seasons):
                    occupied.add((route.code, stop.number, number))
    return frozenset(occupied)


def detection(
    species: SpeciesTruth, *, night: dt.date, temperature_c: float, hours_after_sunset: float
) -> float:
    """The chance of hearing the species at an occupied stop; 0 out of its season."""
    if not in_days(night, *species.season):
        return 0.0
    at_best = math.log(species.detection / (1 - species.detection))
    off_peak = days_between(night, species.peak.month, species.peak.day) / species.width_days
    return logistic(
        at_best
        - off_peak**2
        + species.per_degree * (temperature_c - species.reference_c)
        + species.per_hour * (hours_after_sunset - REFERENCE_HOURS)
    )


def call_index(species: SpeciesTruth, rng: Random) -> int:
    """The strength of the calling, once heard."""
    return rng.choices((1, 2, 3), weights=species.index_shares)[0]
