"""A place as it leaves the house: exact, the middle of a grid cell, or not at all.

A place is rounded to a grid and never moved at random, so that asking twice gives nothing away
(Chapman 2020, Current Best Practices for Generalizing Sensitive Species Occurrence Data,
doi:10.15468/doc-5jp4-5g10).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from decimal import ROUND_FLOOR, Decimal

# Sides of the grid cells in degrees by level of sensitivity; Chapman 2020, categories 4 to 2.
GRID: dict[int, Decimal] = {1: Decimal("0.001"), 2: Decimal("0.01"), 3: Decimal("0.1")}
OPEN, WITHHELD = 0, 4
# How far a stop may lie from its stored point: the lower limit that the definition of Darwin
# Core's coordinateUncertaintyInMeters names for a reading of unknown accuracy (from memory).
OWN_UNCERTAINTY_M = 30

# WGS 84 (NGA.STND.0036): semi-major axis and flattening.
_AXIS_M = 6378137.0
_FLATTENING = 1 / 298.257223563
_ECCENTRICITY_SQUARED = _FLATTENING * (2 - _FLATTENING)


@dataclass(frozen=True, kw_only=True)
class SharedPlace:
    """Coordinates in degrees, WGS 84, and what is to be said of them; `uncertainty_m` is the
    radius around them within which the stop lies, `grid_degrees` None where they are exact."""

    latitude: float | None
    longitude: float | None
    uncertainty_m: float | None
    grid_degrees: float | None
    generalizations: str
    withheld: str


def share_place(latitude: float, longitude: float, level: int) -> SharedPlace:
    """A stop's place at a level of sensitivity, 0 (open) to 4 (withheld)."""
    if level == WITHHELD:
        return SharedPlace(
            latitude=None,
            longitude=None,
            uncertainty_m=None,
            grid_degrees=None,
            generalizations="No coordinates; the region of the route only.",
            withheld="Coordinates, names of routes and stops.",
        )
    if level == OPEN:
        return SharedPlace(
            latitude=latitude,
            longitude=longitude,
            uncertainty_m=OWN_UNCERTAINTY_M,
            grid_degrees=None,
            generalizations="",
            withheld="",
        )
    side = GRID[level]
    middle = _middle(latitude, side, 90)
    return SharedPlace(
        latitude=middle,
        longitude=_middle(longitude, side, 180),
        uncertainty_m=math.ceil(half_diagonal_m(middle, float(side)) + OWN_UNCERTAINTY_M),
        grid_degrees=float(side),
        generalizations=f"Coordinates are the middle of a grid cell of {side}°.",
        withheld="Exact coordinates, names of routes and stops.",
    )


def half_diagonal_m(latitude: float, side: float) -> float:
    """Distance in meters from the middle of a grid cell, `side` degrees wide and high, to its
    farthest corner; a little more than it where the cell narrows, never less."""
    nearest = max(abs(latitude) - side / 2, 0.0)
    farthest = min(abs(latitude) + side / 2, 90.0)
    north = math.radians(side / 2) * _meridian_radius(farthest)
    east = math.radians(side / 2) * _parallel_radius(nearest)
    return math.hypot(north, east)


def _middle(degrees: float, side: Decimal, limit: int) -> float:
    """Middle of the cell that holds a coordinate; the last cell holds its outer edge too."""
    cell = (Decimal(repr(degrees)) / side).to_integral_value(ROUND_FLOOR)
    cell = min(cell, Decimal(limit) / side - 1)
    return float(cell * side + side / 2)


def _meridian_radius(latitude: float) -> float:
    sine = math.sin(math.radians(latitude))
    return _AXIS_M * (1 - _ECCENTRICITY_SQUARED) / (1 - _ECCENTRICITY_SQUARED * sine**2) ** 1.5


def _parallel_radius(latitude: float) -> float:
    angle = math.radians(latitude)
    return _AXIS_M * math.cos(angle) / math.sqrt(1 - _ECCENTRICITY_SQUARED * math.sin(angle) ** 2)
