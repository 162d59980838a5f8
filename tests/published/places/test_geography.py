"""Distances, spacing, stops along a line and areas against geographiclib.

geographiclib 2.1 (C. F. F. Karney 2013, Algorithms for geodesics, J. Geod. 87:43-55,
doi:10.1007/s00190-012-0578-z) solves geodesics on the WGS 84 ellipsoid to about 15 nanometers.
PostGIS solves them by the copy of the algorithm in PROJ, our pure core by Lambert's formula.
"""

import itertools
import math
import random

import pytest
from geographiclib.geodesic import Geodesic

from surveys.programs.area import draw_area
from surveys.programs.area_geography import lines_outside, places_outside, size_m2
from surveys.programs.geography import (
    MOST_WITHIN_M,
    Point,
    along_lines,
    every,
    length_m,
    neighbors,
    outside,
    same_place,
)
from surveys.programs.stop_proposals import propose
from surveys.protocol.distance import distance_m
from surveys.protocol.values import Place

pytestmark = pytest.mark.django_db
WGS84 = Geodesic.WGS84
MM = 1e-3


def geodesic(one: Place, other: Place) -> float:
    return WGS84.Inverse(one.latitude, one.longitude, other.latitude, other.longitude)["s12"]


def beyond(place: Place, azimuth: float, meters: float) -> Place:
    there = WGS84.Direct(place.latitude, place.longitude, azimuth, meters)
    return Place(latitude=there["lat2"], longitude=there["lon2"])


def winding(latitude: float, parts: int = 40, seed: int = 3) -> list[Place]:
    """A road of parts from 50 to 900 m that turns at each point."""
    draw = random.Random(seed)
    line = [Place(latitude=latitude, longitude=-89.4)]
    azimuth = 30.0
    for _ in range(parts):
        azimuth += draw.uniform(-70, 70)
        line.append(beyond(line[-1], azimuth, draw.uniform(50, 900)))
    return line


@pytest.mark.parametrize("latitude", [-43.0, 0.0, 43.07, 64.8])
def test_distances_between_stops(latitude):
    places = winding(latitude, parts=9)
    points = [Point(route=1, number=n, place=place) for n, place in enumerate(places, start=1)]
    found = neighbors(points)
    for before, after in itertools.pairwise(range(len(places))):
        meters = geodesic(places[before], places[after])
        assert found[before].to_next == pytest.approx(meters, abs=MM)
        assert found[after].from_last == pytest.approx(meters, abs=MM)
        # Lambert: 5 parts in a million.
        assert distance_m(places[before], places[after]) == pytest.approx(meters, rel=5e-6)
    for position, place in enumerate(places):
        others = [geodesic(place, other) for other in places if other is not place]
        assert found[position].nearest == pytest.approx(min(others), abs=MM)
        later = {n: geodesic(place, places[n]) for n in range(position + 2, len(places))}
        if position == 0:
            later.pop(len(places) - 1)
        assert found[position].later == (min(later, key=later.get) if later else None)
        nearest_later = pytest.approx(min(later.values()), abs=MM) if later else None
        assert found[position].to_later == nearest_later


def test_routes_are_kept_apart():
    here = Place(latitude=43.0, longitude=-89.0)
    points = [Point(route=1, number=1, place=here), Point(route=2, number=2, place=here)]
    assert neighbors(points) == []


@pytest.mark.parametrize("latitude", [-43.0, 0.0009999, 43.07, 64.8])
def test_the_same_place(latitude):
    """Pairs 9.9 m and 10.1 m apart in every direction, over the edge of a band too."""
    here = Place(latitude=latitude, longitude=-89.4)
    for azimuth in range(0, 360, 30):
        near, far = beyond(here, azimuth, 9.9), beyond(here, azimuth, 10.1)
        points = [Point(route=n, number=1, place=p) for n, p in enumerate([here, near, far])]
        assert (0, 1) in same_place(points, 10.0)
        assert (0, 2) not in same_place(points, 10.0)


def test_the_same_place_looks_no_further_than_its_bands():
    with pytest.raises(ValueError, match="no further"):
        same_place([], MOST_WITHIN_M + 1)


@pytest.mark.parametrize("latitude", [-43.0, 43.07, 64.8])
def test_lengths_and_places_along_a_line(latitude):
    line = winding(latitude)
    lengths = [geodesic(one, other) for one, other in itertools.pairwise(line)]
    assert length_m(line) == pytest.approx(sum(lengths), abs=MM)
    starts = [0.0, *itertools.accumulate(lengths)]
    walked = every(line, 123.0)
    assert [along for along, _ in walked] == [
        123.0 * step for step in range(int(sum(lengths) / 123) + 1)
    ]
    for along, place in walked:
        part = max(n for n, start in enumerate(starts[:-1]) if start <= along + 1e-6)
        azimuth = WGS84.Inverse(
            line[part].latitude, line[part].longitude,
            line[part + 1].latitude, line[part + 1].longitude,
        )["azi1"]  # fmt: skip
        wanted = beyond(line[part], azimuth, along - starts[part])
        assert geodesic(place, wanted) < MM


def test_how_far_from_a_line():
    """A stop 300 m to the side of a straight road, halfway along. A meridian is a geodesic and
    the line of its coordinates at the same time."""
    start = Place(latitude=43.0, longitude=-89.4)
    end = beyond(start, 0.0, 2_000.0)
    aside = beyond(beyond(start, 0.0, 1_000.0), 90.0, 300.0)
    ((position, meters, share),) = along_lines(
        [Point(route=7, number=1, place=aside)], {7: [start, end], 8: [end, start]}
    )
    assert position == 0
    assert meters == pytest.approx(300.0, abs=0.01)
    assert share == pytest.approx(0.5, abs=1e-3)


def test_how_far_outside_an_area():
    """South of the southern edge, which is a short part of a geodesic."""
    corners = [
        Place(latitude=latitude, longitude=longitude)
        for latitude in (43.0, 43.5)
        for longitude in (-89.40, -89.39)
    ]
    edge = Place(latitude=43.0, longitude=-89.395)
    points = [
        Point(route=number, number=1, place=beyond(edge, 180.0, meters))
        for number, meters in enumerate([9_900.0, 10_100.0])
    ]
    ((position, meters),) = outside(points, corners, 10_000.0)
    assert position == 1
    assert meters == pytest.approx(10_100.0, abs=0.5)
    assert outside(points, [], 10_000.0) == []


@pytest.mark.parametrize("spacing", [400.0, 804.672])
def test_stops_on_a_straight_road_are_as_far_apart_as_asked(spacing):
    start = Place(latitude=43.07, longitude=-89.4)
    stops = propose([start, beyond(start, 77.0, 20_000.0)], spacing=spacing, most=10)
    assert len(stops) == 10
    assert geodesic(start, stops[0]) < MM
    for one, other in itertools.pairwise(stops):
        assert spacing <= geodesic(one, other) <= spacing + 1.0


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_no_two_stops_on_a_winding_road_are_nearer_than_asked(seed):
    stops = propose(winding(43.07, seed=seed), spacing=800.0, most=12)
    assert len(stops) > 5
    rounded = [Place(latitude=round(s.latitude, 6), longitude=round(s.longitude, 6)) for s in stops]
    for one, other in itertools.combinations(rounded, 2):
        assert geodesic(one, other) >= 800.0


class TestArea:
    """The area of a program. geographiclib's polygon has geodesic sides, so what is compared has
    sides that were cut into parts of 0.05 degrees, along which both are the same line."""

    # An hourglass of a state: a border along the 49th parallel, and a slanted one.
    CORNERS = ((49.0, -97.0), (49.0, -90.0), (46.5, -92.3), (43.5, -91.2), (43.5, -96.5))

    @staticmethod
    def cut(corners, degrees=0.05):
        """Along straight lines of longitude and latitude (RFC 7946, 3.1.1)."""
        for (lat, lon), (lat2, lon2) in itertools.pairwise([*corners, corners[0]]):
            parts = math.ceil(math.hypot(lat2 - lat, lon2 - lon) / degrees)
            for part in range(parts):
                share = part / parts
                yield lat + share * (lat2 - lat), lon + share * (lon2 - lon)

    @pytest.fixture
    def area(self, coordinator):
        text = "\n".join(f"{lat}, {lon}" for lat, lon in self.CORNERS)
        return draw_area(coordinator, points=text)

    def test_size(self, area):
        polygon = WGS84.Polygon()
        for latitude, longitude in self.cut(self.CORNERS):
            polygon.AddPoint(latitude, longitude)
        _, _, square_m = polygon.Compute()
        assert size_m2(area.outline) == pytest.approx(abs(square_m), rel=1e-7)

    @pytest.mark.parametrize("meters", [20.0, 2_000.0, 60_000.0])
    def test_how_far_outside(self, area, meters):
        """North of a border along a parallel: a geodesic between its corners would lie 15 km
        farther north. East of the slanted border, the nearest of many places along it."""
        border = Place(latitude=49.0, longitude=-93.5)
        inside, north = beyond(border, 180.0, meters), beyond(border, 0.0, meters)
        slanted = [Place(latitude=lat, longitude=lon) for lat, lon in self.cut(
            [(49.0, -90.0), (46.5, -92.3)], degrees=0.0005)]  # fmt: skip
        east = beyond(slanted[len(slanted) // 4], 130.0, meters)
        points = [Point(route=1, number=n, place=p) for n, p in enumerate([inside, north, east])]
        found = dict(places_outside(area.program_id, points))
        assert set(found) == {1, 2}
        # The parallel curves away by less than a meter in a part of 0.05 degrees.
        assert found[1] == pytest.approx(meters, abs=1.0)
        nearest = min(geodesic(east, place) for place in slanted)
        assert found[2] == pytest.approx(nearest, abs=1.0)

    def test_how_much_of_a_line_lies_outside(self, area):
        """A meridian is a geodesic and a straight line of longitude and latitude."""
        start = beyond(Place(latitude=49.0, longitude=-93.5), 180.0, 3_000.0)
        end = beyond(start, 0.0, 10_000.0)
        crossing = {4: [start, end], 5: [start, beyond(start, 0.0, 2_000.0)]}
        ((key, meters),) = lines_outside(area.program_id, crossing)
        assert key == 4
        assert meters == pytest.approx(7_000.0, abs=MM)
