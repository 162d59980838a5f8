"""Stops proposed along the line of a route. How far apart they are is checked against geographiclib
in `tests/published/places/test_geography.py`."""

import datetime as dt
from itertools import pairwise

import pytest
from django.contrib.gis.geos import LineString
from django.core.exceptions import PermissionDenied, ValidationError
from django.urls import reverse

from surveys.programs.places import place_of
from surveys.programs.stop_proposals import add_proposed, propose
from surveys.protocol.distance import distance_m
from surveys.protocol.values import Place
from tests.support.builders import make_route, make_version

pytestmark = pytest.mark.django_db
NIGHT = dt.date(2024, 4, 1)
# Five kilometers there and back on the same road.
THERE = [Place(latitude=43.0, longitude=-89.4), Place(latitude=43.045, longitude=-89.4)]
BACK = [*THERE, Place(latitude=43.0, longitude=-89.4001)]


@pytest.fixture
def route(program):
    version = make_version(program, min_stop_spacing_m=800.0, min_stops=5)
    line = LineString([(place.longitude, place.latitude) for place in THERE], srid=4326)
    return make_route(program, version=version, stops=0, line=line)


def test_a_road_that_comes_back_has_no_stop_beside_another():
    assert len(propose(BACK, spacing=800.0, most=20)) == len(propose(THERE, spacing=800.0, most=20))


@pytest.mark.parametrize(
    ("line", "wanted", "said"),
    [
        ([], {}, "no line yet"),
        (THERE, {"spacing": 49.0}, r"at least 50 m \(164 ft\) apart"),
        (THERE, {"spacing": float("nan")}, r"at least 50 m \(164 ft\) apart"),
        (THERE, {"most": 0}, "between 1 and 100"),
        (THERE, {"most": 101}, "between 1 and 100"),
        ([THERE[0], Place(latitude=46.0, longitude=-89.4)], {}, "longer than 300 km"),
    ],
)
def test_what_cannot_be_proposed(line, wanted, said):
    with pytest.raises(ValidationError, match=said):
        propose(line, **{"spacing": 800.0, "most": 10} | wanted)


def test_the_screen_shows_and_then_adds(program, coordinator, route, client_for):
    page = client_for(coordinator)
    address = reverse("web:program_stops_propose", args=[program.slug, route.pk])
    assert (
        address
        in page.get(reverse("web:program_route", args=[program.slug, route.pk])).content.decode()
    )
    form = page.get(address).context["form"]
    typed = {name: form[name].value() for name in form.fields}
    assert (typed["spacing"], typed["most"]) == ("0.8", 10)
    typed |= {"first_night": "2024-04-01", "most": 5}
    shown = page.post(address, typed)
    assert "5 stops fit on the line." in shown.content.decode()
    assert not route.stops.exists()
    page.post(address, typed | {"add": "yes"})
    stops = list(route.stops.order_by("number"))
    assert [stop.number for stop in stops] == [1, 2, 3, 4, 5]
    assert {stop.active_from for stop in stops} == {NIGHT}
    for one, other in pairwise(stops):
        assert 800.0 <= distance_m(place_of(one.place), place_of(other.place)) < 801.0
    again = page.post(address, typed | {"add": "yes"}).content.decode()
    assert "The route has 5 stops already" in again
    assert route.stops.count() == 5


def test_a_line_that_is_too_short_says_so(program, coordinator, route, client_for):
    page = client_for(coordinator)
    address = reverse("web:program_stops_propose", args=[program.slug, route.pk])
    typed = {"spacing": "2", "most": "10", "first_night": "2024-04-01"}
    assert "The line is too short for more." in page.post(address, typed).content.decode()
    wrong = page.post(address, typed | {"spacing": "0.01"}).content.decode()
    assert "at least 50 m (164 ft) apart" in wrong


def test_a_route_without_a_line_says_so(program, coordinator, route, client_for):
    route.line = None
    route.save()
    page = client_for(coordinator)
    address = reverse("web:program_stops_propose", args=[program.slug, route.pk])
    typed = {"spacing": "0.8", "most": "10", "first_night": "2024-04-01"}
    assert "The route has no line yet" in page.post(address, typed).content.decode()


def test_only_after_the_stops_that_were_closed(coordinator, route):
    make = {"spacing": 800.0, "most": 3}
    for stop in add_proposed(coordinator, route.pk, first_night=NIGHT, **make):
        stop.active_until = dt.date(2024, 5, 1)
        stop.save()
    with pytest.raises(ValidationError, match="Choose a later night"):
        add_proposed(coordinator, route.pk, first_night=dt.date(2024, 5, 1), **make)
    add_proposed(coordinator, route.pk, first_night=dt.date(2024, 5, 2), **make)
    assert route.stops.filter(active_until=None).count() == 3


def test_observers_propose_nothing(observer, route):
    with pytest.raises(PermissionDenied):
        add_proposed(observer, route.pk, spacing=800.0, most=3, first_night=NIGHT)
