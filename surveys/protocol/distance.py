"""Distance on the WGS84 ellipsoid."""

from __future__ import annotations

import math

from surveys.protocol.values import Place

EQUATORIAL_RADIUS_M = 6378137.0
FLATTENING = 1 / 298.257223563
_NEARLY_OPPOSITE = 3.1


def distance_m(a: Place, b: Place) -> float:
    """Geodesic length between two places in meters, by Lambert's formula.

    A great circle on the sphere of reduced latitudes, corrected to the first order
    of the flattening: within 5 parts in a million, so 4 mm at the spacing of stops.
    Places on opposite sides of the Earth, where the correction has no limit, get the
    uncorrected length (within 0.5%).
    Source: W. D. Lambert 1942, J. Wash. Acad. Sci. 32:125-130 (from memory).
    """
    reduced_a = math.atan((1 - FLATTENING) * math.tan(math.radians(a.latitude)))
    reduced_b = math.atan((1 - FLATTENING) * math.tan(math.radians(b.latitude)))
    mean, half = (reduced_a + reduced_b) / 2, (reduced_b - reduced_a) / 2
    half_turn = math.radians(b.longitude - a.longitude) / 2
    haversine = (
        math.sin(half) ** 2 + math.cos(reduced_a) * math.cos(reduced_b) * math.sin(half_turn) ** 2
    )
    angle = 2 * math.asin(min(1.0, math.sqrt(haversine)))
    if angle == 0 or angle > _NEARLY_OPPOSITE:
        return EQUATORIAL_RADIUS_M * angle
    sine, cosine = math.sin(angle / 2) ** 2, math.cos(angle / 2) ** 2
    x = (angle - math.sin(angle)) * (math.sin(mean) * math.cos(half)) ** 2 / cosine
    y = (angle + math.sin(angle)) * (math.cos(mean) * math.sin(half)) ** 2 / sine
    return EQUATORIAL_RADIUS_M * (angle - FLATTENING / 2 * (x + y))
