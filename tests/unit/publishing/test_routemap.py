"""The map of the routes: places, scale and words.

Lengths of a degree on WGS 84 (common tables; from memory): of latitude 110.57 km at the equator
and 111.69 km at the poles, of longitude 78.85 km at 45° and 55.80 km at 60°.
"""

import re
import xml.etree.ElementTree as ET

import pytest

from surveys.publishing.formats.routemap import (
    HEIGHT,
    WIDTH,
    route_map,
)
from tests.support.frozen_rows import freeze_rows

SVG = "{http://www.w3.org/2000/svg}"
KM_OF_LONGITUDE = {0: 111.32, 45: 78.85, 60: 55.80}


def stop(route, number, latitude, longitude, grid=None):
    return {
        "stop": f"{route}_{number}", "route": route, "number": number, "latitude": latitude,
        "longitude": longitude, "grid_degrees": grid,
    }  # fmt: skip


def drawn(tmp_path, stops):
    return route_map(freeze_rows(tmp_path, {"stops": stops}))


def dots(root):
    return [(float(one.get("cx")), float(one.get("cy"))) for one in root.iter(f"{SVG}circle")]


def bar(root):
    """Length of the scale bar in the picture and in kilometers."""
    path = next(root.iter(f"{SVG}path")).get("d")
    left, right = re.match(r"M([\d.]+),[\d.]+V[\d.]+H([\d.]+)", path).groups()
    words = next(one.text for one in root.iter(f"{SVG}text") if " km (" in one.text)
    return float(right) - float(left), float(words.split(" km")[0]), words


@pytest.mark.parametrize("latitude", [0, 45, 60])
@pytest.mark.parametrize("apart", [0.02, 0.3, 4.0])
def test_scale_bar_is_as_long_as_it_says(latitude, apart, tmp_path):
    stops = [stop("A", 1, latitude, 10.0), stop("A", 2, latitude, 10.0 + apart)]
    root = ET.fromstring(drawn(tmp_path, stops).svg)
    (x1, y1), (x2, y2) = dots(root)
    assert y1 == pytest.approx(y2)
    length, kilometers, _ = bar(root)
    assert (x2 - x1) / length * kilometers == pytest.approx(
        apart * KM_OF_LONGITUDE[latitude], rel=0.01
    )


def test_scale_bar_has_miles_of_the_same_length(tmp_path):
    """The international mile is 1.609344 km."""
    stops = [stop("A", 1, 45, 10.0), stop("A", 2, 46, 10.0)]
    _, kilometers, words = bar(ET.fromstring(drawn(tmp_path, stops).svg))
    miles = float(re.search(r"\(([\d.]+) mi\)", words).group(1))
    assert miles == pytest.approx(kilometers / 1.609344, rel=0.02)


def test_north_is_up_and_east_is_right(tmp_path):
    stops = [stop("A", 1, 45.0, -93.0), stop("A", 2, 45.2, -92.8)]
    (x1, y1), (x2, y2) = dots(ET.fromstring(drawn(tmp_path, stops).svg))
    assert x2 > x1
    assert y2 < y1


def test_generalized_stops_are_whole_cells_each_once(tmp_path):
    """Four stops in two cells: how many stops a cell holds is not shown."""
    stops = [
        *(stop("A", n, 45.05, -93.05, 0.1) for n in (1, 2, 3)),
        stop("A", 4, 45.05, -92.95, 0.1),
    ]
    root = ET.fromstring(drawn(tmp_path, stops).svg)
    ground, first, second = root.iter(f"{SVG}rect")
    assert float(ground.get("width")) == WIDTH
    # The cells share an edge, as they do on the ground.
    right = float(first.get("x")) + float(first.get("width"))
    assert right == pytest.approx(float(second.get("x")), abs=0.2)
    tall, wide = float(first.get("height")), float(first.get("width"))
    assert wide / tall == pytest.approx(78.85 / 111.1, rel=0.01)


def test_everything_stands_within_the_picture(tmp_path):
    stops = [
        stop(f"Route-{n}", m, 45 + n / 10, -93 + (n % 3) / 50 + m / 500, 0.01)
        for n in range(12)
        for m in (1, 2, 3)
    ]
    root = ET.fromstring(drawn(tmp_path, stops).svg)
    for one in root.iter(f"{SVG}text"):
        assert 0 <= float(one.get("x")) <= WIDTH
        assert 0 <= float(one.get("y")) <= HEIGHT
    for one in root.iter(f"{SVG}rect"):
        assert 0 <= float(one.get("x", 0)) <= WIDTH - float(one.get("width")) + 0.01
        assert 0 <= float(one.get("y", 0)) <= HEIGHT - float(one.get("height")) + 0.01


def test_labels_do_not_lie_on_one_another(tmp_path):
    stops = [stop(route, 1, 45.0, -93.0) for route in ("A1", "A2", "A3")]
    places = {
        (one.get("x"), one.get("y"))
        for one in ET.fromstring(drawn(tmp_path, stops).svg).iter(f"{SVG}text")
        if one.text in {"A1", "A2", "A3"}
    }
    assert len(places) == 3


def test_withheld_routes_are_named_and_not_drawn(tmp_path):
    stops = [stop("A", 1, 45.0, -93.0), stop("B&B", 1, None, None)]
    found = drawn(tmp_path, stops)
    assert found.not_drawn == ("B&B",)
    assert "B&amp;B" not in found.svg
    assert found.alt == (
        "Map of 1 route with 1 stop, from 45.0° to 45.0° of latitude and -93.0° to -93.0° of "
        "longitude. Routes: A."
    )


def test_without_any_place_there_is_no_map(tmp_path):
    assert drawn(tmp_path, [stop("A", 1, None, None)]) is None
