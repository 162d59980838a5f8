"""Coordinates in every form in which people write them."""

import pytest

from surveys.protocol.coordinates import Axis, CoordinateError, read_degrees, read_pair

LATITUDE, LONGITUDE = Axis.LATITUDE, Axis.LONGITUDE
# 43° 4′ 23.2″
NORTH = 43 + 4 / 60 + 23.2 / 3600


@pytest.mark.parametrize(
    "text",
    [
        "43° 04′ 23.2″ N",
        "43°04'23.2\"N",
        "43 04 23.2",
        "43:04:23.2",
        "N43°4’23.2”",
        "n 43 4 23,2",
        "43º 4' 23.2''",
        "43d04m23.2s",
        "43d04m23.2sN",
        "43 deg 4 min 23.2 sec N",
        "+43 4 23.2",
    ],
)
def test_degrees_minutes_seconds(text):
    assert read_degrees(text, LATITUDE) == pytest.approx(NORTH, abs=1e-12)


@pytest.mark.parametrize(
    ("text", "axis", "degrees"),
    [
        ("43° 04.386′ N", LATITUDE, 43.0731),
        ("43 4,386", LATITUDE, 43.0731),
        ("W 89 24.072", LONGITUDE, -89.4012),
        ("-89 24.072", LONGITUDE, -89.4012),
        ("89°24.072'w", LONGITUDE, -89.4012),
        ("−89.4012°", LONGITUDE, -89.4012),
        ("-89.4012 W", LONGITUDE, -89.4012),
        ("S43.0731", LATITUDE, -43.0731),
        ("43d04m23sS", LATITUDE, -(43 + 4 / 60 + 23 / 3600)),
        ("-0 30", LATITUDE, -0.5),
        (".5", LATITUDE, 0.5),
        ("180° E", LONGITUDE, 180.0),
    ],
)
def test_other_forms(text, axis, degrees):
    assert read_degrees(text, axis) == pytest.approx(degrees, abs=1e-12)


@pytest.mark.parametrize(
    ("text", "axis", "words"),
    [
        ("", LATITUDE, "not a number of degrees"),
        ("43 4 23 1", LATITUDE, "not a number of degrees"),
        ("43′ 04°", LATITUDE, "not a number of degrees"),
        ("43' N", LATITUDE, "not a number of degrees"),
        ("²٣", LATITUDE, "not a number of degrees"),
        ("1e2", LATITUDE, "not a number of degrees"),
        ("9" * 5_000, LATITUDE, "not a number of degrees"),
        ("89° 24′ W", LATITUDE, "Are latitude and longitude swapped"),
        ("-43 N", LATITUDE, "has a minus sign and the letter N"),
        ("43.5 30", LATITUDE, "“43.5 30” has a fraction before its last number"),
        ("43 60.0", LATITUDE, "60 or more minutes"),
        ("43 4 60", LATITUDE, "60 or more minutes"),
        ("90.1", LATITUDE, "between −90 and 90. Are latitude and longitude swapped"),
        ("90 0 0.1", LATITUDE, "is not on the globe"),
        ("181", LONGITUDE, "between −180 and 180"),
        ("4770512.3", LATITUDE, "meters of a map grid"),
        ("43.07 O", LATITUDE, "not a number of degrees"),
        ("x" * 40, LATITUDE, f"“{'x' * 40}”"),
        ("x" * 41, LATITUDE, f"“{'x' * 40}…”"),
    ],
)
def test_what_is_refused(text, axis, words):
    with pytest.raises(CoordinateError) as caught:
        read_degrees(text, axis)
    assert words in str(caught.value)
    assert str(caught.value).endswith((".", "?"))


@pytest.mark.parametrize(
    "text",
    [
        "43.0731, -89.4012",
        "43.0731,-89.4012",
        "43.0731 -89.4012",
        "43.0731; -89.4012",
        "43,0731; -89,4012",
        "43,0731 -89,4012",
        "43° 04.386′ N 89° 24.072′ W",
        "43°04.386′N, 89°24.072′W",
        "N 43 04.386 W 89 24.072",
        "W89°24.072′ N43°04.386′",
        "89.4012W 43.0731N",
        "N43.0731,W89.4012",
    ],
)
def test_both_in_one_cell(text):
    latitude, longitude = read_pair(text)
    assert read_degrees(latitude, LATITUDE) == pytest.approx(43.0731, abs=1e-12)
    assert read_degrees(longitude, LONGITUDE) == pytest.approx(-89.4012, abs=1e-12)


@pytest.mark.parametrize("text", ["", "43.0731", "a, b, c", "1 2 3", "x" * 100_000, ";", ", "])
def test_no_pair(text):
    with pytest.raises(CoordinateError, match="is not a latitude and a longitude"):
        read_pair(text)
