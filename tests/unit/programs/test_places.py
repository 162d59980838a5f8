"""Coordinates as people type them, and the slips of the hand."""

import pytest
from django.core.exceptions import ValidationError

from surveys.programs.places import (
    likely_slip,
    read_coordinate,
    read_place,
)
from surveys.protocol.values import Place

NEAR = [Place(latitude=43.07, longitude=-89.40)]


@pytest.mark.parametrize(
    ("text", "name", "value"),
    [
        ("43.0731", "latitude", 43.0731),
        (" 43,0731 ", "latitude", 43.0731),
        ("-89.4012", "longitude", -89.4012),
        ("−89.4012", "longitude", -89.4012),
        ("+7", "longitude", 7.0),
        ("90", "latitude", 90.0),
        ("-180", "longitude", -180.0),
        ("43.07 N", "latitude", 43.07),
        ("89° 24′ W", "longitude", -89.4),
    ],
)
def test_decimal_degrees_are_read(text, name, value):
    assert read_coordinate(text, name) == value


@pytest.mark.parametrize(
    ("text", "name", "said"),
    [
        ("", "latitude", "Type the latitude"),
        ("43.07E", "latitude", "“43.07E” is not a latitude. Are latitude and longitude swapped?"),
        ("1,234.5", "longitude", "is not a number of degrees"),
        ("nan", "latitude", "is not a number of degrees"),
        ("1e2", "longitude", "is not a number of degrees"),
        ("90.0001", "latitude", "between −90 and 90. Are latitude and longitude swapped?"),
        ("-180.5", "longitude", "between −180 and 180."),
    ],
)
def test_anything_else_is_refused_in_words(text, name, said):
    with pytest.raises(ValidationError) as refusal:
        read_coordinate(text, name)
    assert said in refusal.value.messages[0]


def test_the_errors_of_both_coordinates_come_together():
    with pytest.raises(ValidationError) as refusal:
        read_place("north", "200")
    assert set(refusal.value.message_dict) == {"latitude", "longitude"}


@pytest.mark.parametrize(
    ("latitude", "longitude", "said"),
    [
        (43.07, 89.40, "minus sign of the longitude"),
        (-43.07, -89.40, "minus sign of the latitude"),
        (-89.40, 43.07, "swapped?"),
        (89.40, 43.07, "swapped, and a minus sign missing"),
    ],
)
def test_a_usual_slip_is_named(latitude, longitude, said):
    assert said in likely_slip(Place(latitude=latitude, longitude=longitude), NEAR)


@pytest.mark.parametrize(
    "place",
    [
        Place(latitude=43.2, longitude=-89.1),
        Place(latitude=10.0, longitude=10.0),
    ],
    ids=["near the others", "far, and no slip explains it"],
)
def test_no_slip_is_named_without_reason(place):
    assert likely_slip(place, NEAR) is None


def test_the_first_place_of_all_has_nothing_to_be_compared_with():
    assert likely_slip(Place(latitude=-43.07, longitude=-89.40), []) is None
