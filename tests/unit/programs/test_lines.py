"""Reading the points of a route's line, typed or pasted."""

import json

import pytest
from django.core.exceptions import ValidationError

from surveys.programs.lines import (
    MOST_POINTS,
    read_line,
)
from surveys.protocol.values import Place

HERE, THERE = Place(latitude=43.0731, longitude=-89.4012), Place(latitude=43.08, longitude=-89.39)
LINE = {"type": "LineString", "coordinates": [[-89.4012, 43.0731], [-89.39, 43.08, 260.5]]}
FEATURE = {"type": "Feature", "properties": {}, "geometry": LINE}
STOP = {"type": "Feature", "properties": {}, "geometry": {"type": "Point", "coordinates": [1, 2]}}
# RFC 7946, appendix A.2.
RFC_LINE = '{"type": "LineString", "coordinates": [[100.0, 0.0], [101.0, 1.0]]}'


@pytest.mark.parametrize(
    "text",
    [
        "43.0731, -89.4012\n43.08, -89.39",
        "43.0731,-89.4012\n43.08,-89.39\n",
        "43.0731 −89.4012\n\n  43.08\t−89.39",
        "43,0731; -89,4012\n43,08; -89,39",
        "43,0731 -89,4012\r\n43,08 -89,39",
        json.dumps(LINE),
        json.dumps(FEATURE, indent=1),
        json.dumps({"type": "FeatureCollection", "features": [STOP, FEATURE]}),
        json.dumps({"type": "MultiLineString", "coordinates": [LINE["coordinates"]]}),
    ],
)
def test_what_is_read(text):
    assert read_line(text) == (HERE, THERE)


def test_the_example_of_the_standard():
    """GeoJSON gives the longitude first."""
    assert read_line(RFC_LINE) == (
        Place(latitude=0.0, longitude=100.0),
        Place(latitude=1.0, longitude=101.0),
    )


@pytest.mark.parametrize("text", ["", "  \n\n "])
def test_nothing_is_no_line(text):
    assert read_line(text) == ()


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("43.0731, -89.4012", "two points or more"),
        ("43.0731, -89.4012\n43.0731, -89.4012", "the same place"),
        ("43.0731, -89.4012\nturn left", "Line 2: “turn” is not a number of degrees"),
        ("43.0731\n43.08, -89.39", "Line 1: “43.0731” is not a latitude and a longitude"),
        ("1, 2, 3\n1, 2", "Line 1: “1, 2, 3” is not a latitude and a longitude"),
        ("x" * 90, f"“{'x' * 40}…” is not"),
        ("-89.4012, 143.0731\n1, 2\n99, 2", "Line 3: 99 is not on the globe"),
        ("1, 2\n" * (MOST_POINTS + 1), f"the limit is {MOST_POINTS}"),
        ('{"type": "LineString"', "part of it is missing"),
        ("{" * 100_000, "part of it is missing"),
        ("{}", "holds no line"),
        (json.dumps({"type": "FeatureCollection", "features": [FEATURE, FEATURE]}), "2 lines"),
        (json.dumps({"type": "FeatureCollection", "features": [None, 3]}), "holds no line"),
        ('{"type": "LineString", "coordinates": [[1, 2], ["a", 2]]}', "Point 2 of the GeoJSON"),
        ('{"type": "LineString", "coordinates": [[1, 2], 7]}', "Point 2 of the GeoJSON is not"),
        ('{"type": "LineString", "coordinates": [[1, 2], [NaN, 7]]}', "outside the globe"),
        ('{"type": "LineString", "coordinates": [[1, 2], [9, 99]]}', "outside the globe"),
    ],
)
def test_what_is_refused(text, said):
    with pytest.raises(ValidationError) as refused:
        read_line(text)
    assert said in refused.value.message_dict["points"][0]
