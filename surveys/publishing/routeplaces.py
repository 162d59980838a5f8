"""Where a route lies: the middle of its stops as they are shared, and how far these reach.

Worked out from the frozen tables alone, so that it can say nothing that the stops do not say.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from statistics import fmean

from surveys.protocol.distance import distance_m
from surveys.protocol.values import Place
from surveys.publishing.frozen import Value
from surveys.publishing.places import SharedPlace

Row = Mapping[str, Value]
GENERALIZED = ("data_generalizations", "information_withheld")
# A distance on a sphere is at most 0.6% less than on WGS 84 (from memory).
_SPHERE = 1.006


def place_of(row: Row) -> Place | None:
    """The coordinates of a row of routes or stops; None where they are withheld."""
    latitude, longitude = row["latitude"], row["longitude"]
    if latitude is None or longitude is None:
        return None
    return Place(latitude=latitude, longitude=longitude)


def mean_place(places: Sequence[tuple[float, float]]) -> tuple[float, float]:
    """The mean of latitudes and of longitudes."""
    return fmean(y for y, _ in places), fmean(x for _, x in places)


def route_middle(places: Sequence[SharedPlace]) -> tuple[float | None, float | None]:
    """Latitude and longitude of the middle of some stops as they are shared; None, None where all
    of them are withheld."""
    known = [
        (place.latitude, place.longitude)
        for place in places
        if place.latitude is not None and place.longitude is not None
    ]
    if not known:
        return None, None
    latitude, longitude = mean_place(known)
    return round(latitude, 6), round(longitude, 6)


def with_reach(route: Row, stops: Sequence[Row]) -> dict[str, Value]:
    """A row of the table of routes, with `coordinate_uncertainty_m`, the radius in whole meters
    around its coordinates within which all of its `stops` lie, and what was generalized or
    withheld of these. The radius is blank where any stop has no place or no uncertainty."""
    return {
        **route,
        "coordinate_uncertainty_m": _radius(place_of(route), stops),
        **{
            name: " ".join(dict.fromkeys(str(stop[name]) for stop in stops if stop[name])) or None
            for name in GENERALIZED
        },
    }


def _radius(middle: Place | None, stops: Sequence[Row]) -> float | None:
    places = [place_of(stop) for stop in stops]
    uncertainties = [stop["coordinate_uncertainty_m"] for stop in stops]
    if middle is None or not places or None in places or None in uncertainties:
        return None
    reach = (
        distance_m(middle, place) * _SPHERE + uncertainty
        for place, uncertainty in zip(places, uncertainties, strict=True)
    )
    return float(math.ceil(max(reach)))
