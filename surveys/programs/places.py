"""Coordinates as people type them, and the slips that hands make with them."""

from collections.abc import Sequence

from django.contrib.gis.geos import LineString, Point
from django.core.exceptions import ValidationError
from django.utils.translation import gettext_lazy

from surveys.language import gettext
from surveys.protocol.coordinates import Axis, CoordinateError, read_degrees
from surveys.protocol.distance import distance_m
from surveys.protocol.values import Place

FARTHEST_ON_A_ROUTE_M = 300_000.0
_MISSING = {
    "latitude": gettext_lazy("Type the latitude in degrees, such as 43.07310."),
    "longitude": gettext_lazy("Type the longitude in degrees, such as −89.40120."),
}


def read_coordinate(text: str, name: str) -> float:
    """Degrees. `name` is `latitude` or `longitude`. Raises ValidationError."""
    if not text.strip():
        raise ValidationError(_MISSING[name])
    try:
        return read_degrees(text, Axis(name))
    except CoordinateError as refusal:
        raise ValidationError(str(refusal)) from refusal


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


def places_of(line: LineString | None) -> list[Place]:
    """The points of a line; none without one."""
    if line is None:
        return []
    return [Place(latitude=latitude, longitude=longitude) for longitude, latitude in line.coords]


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
