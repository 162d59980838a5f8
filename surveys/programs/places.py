"""Coordinates as people type them, and the slips that hands make with them."""

import re
from collections.abc import Sequence

from django.contrib.gis.geos import Point
from django.core.exceptions import ValidationError

from surveys.language import gettext, said
from surveys.protocol.distance import distance_m
from surveys.protocol.values import Place

FARTHEST_ON_A_ROUTE_M = 300_000.0
_DECIMAL = re.compile(r"[+-]?\d{1,3}(\.\d+)?")
_BOUNDS = {"latitude": 90.0, "longitude": 180.0}


def read_coordinate(text: str, name: str) -> float:
    """Decimal degrees. `name` is `latitude` or `longitude`. Raises ValidationError."""
    typed = text.strip().replace("−", "-")
    if typed.count(",") == 1 and "." not in typed:
        typed = typed.replace(",", ".")
    if not typed:
        raise ValidationError(
            said("Type the {name} in decimal degrees, such as 43.07310.", name=name)
        )
    if not _DECIMAL.fullmatch(typed):
        raise ValidationError(
            said(
                "“{text}” is not a number of degrees. Type decimal degrees, such as "
                "43.07310; south and west have a minus sign.",
                text=text.strip(),
            )
        )
    value = float(typed)
    bound = _BOUNDS[name]
    if abs(value) > bound:
        hint = gettext(" Are latitude and longitude swapped?") if name == "latitude" else ""
        raise ValidationError(
            said(
                "{typed} is not on the globe: a {name} is between −{bound} and {bound_2}.{hint}",
                typed=typed,
                name=name,
                bound=f"{bound:.0f}",
                bound_2=f"{bound:.0f}",
                hint=hint,
            )
        )
    return value


def read_place(latitude: str, longitude: str) -> Place:
    """Both coordinates; the errors of both come together, each with its field."""
    values: dict[str, float] = {}
    errors: dict[str, list[str]] = {}
    for name, text in (("latitude", latitude), ("longitude", longitude)):
        try:
            values[name] = read_coordinate(text, name)
        except ValidationError as refusal:
            errors[name] = refusal.messages
    if errors:
        raise ValidationError(errors)
    return Place(**values)


def place_of(point: Point) -> Place:
    return Place(latitude=point.y, longitude=point.x)


def point_of(place: Place) -> Point:
    return Point(place.longitude, place.latitude, srid=4326)


def _nearest_m(place: Place, others: Sequence[Place]) -> float:
    return min(distance_m(place, other) for other in others)


def likely_slip(place: Place, others: Sequence[Place]) -> str | None:
    """What probably went wrong when `place` is far from all `others`, and one usual
    slip of the hand would bring it near them; None when nothing suggests one."""
    if not others or _nearest_m(place, others) <= FARTHEST_ON_A_ROUTE_M:
        return None
    latitude, longitude = place.latitude, place.longitude
    slips: list[tuple[str, float, float]] = [
        (
            gettext("Is the minus sign of the longitude missing (or too many)?"),
            latitude,
            -longitude,
        ),
        (gettext("Is the minus sign of the latitude missing (or too many)?"), -latitude, longitude),
        (gettext("Are latitude and longitude swapped?"), longitude, latitude),
        (
            gettext("Are latitude and longitude swapped, and a minus sign missing?"),
            longitude,
            -latitude,
        ),
    ]
    for question, other_latitude, other_longitude in slips:
        if abs(other_latitude) > 90:
            continue
        mended = Place(latitude=other_latitude, longitude=other_longitude)
        if _nearest_m(mended, others) <= FARTHEST_ON_A_ROUTE_M:
            return question
    return None
