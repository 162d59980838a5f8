"""Weather stations: bringing their files, and what visits and files show of them."""

import datetime as dt
from decimal import Decimal

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from accounts.models import Role
from surveys.models import StationDay, WeatherStation
from surveys.publishing.station_weather import station_rows
from surveys.publishing.stops import shared_stops
from tests.support.builders import (
    make_accepted_visit,
    make_member,
    make_program,
    make_route,
    make_station,
)

pytestmark = pytest.mark.django_db
NIGHT = dt.date(2024, 4, 15)


@pytest.fixture
def route(program):
    return make_route(program)


def url(program, name="stations", **kwargs):
    return reverse(f"web:{name}", kwargs={"program": program.slug, **kwargs})


def send(client, program, content, **facts):
    file = SimpleUploadedFile("days.csv", content.encode())
    typed = {"name": "Mill Dam", "code": "MILL", "latitude": "43.145", "longitude": "-89.40"}
    units = {"rain_unit": "mm", "temperature_unit": "C"}
    return client.post(url(program), {"file": file, **typed, **units, **facts})


def test_a_file_brings_days_and_a_later_one_replaces_those_it_holds(
    program, coordinator, client_for, route
):
    client = client_for(coordinator)
    assert send(client, program, "date,rain\n2024-04-14,1\n2024-04-15,2\n").status_code == 302
    assert send(client, program, "date,rain,high\n2024-04-15,3,20\n").status_code == 302
    (station,) = WeatherStation.objects.filter(program=program)
    assert list(station.days.values_list("day", "rain_mm", "high_c")) == [
        (dt.date(2024, 4, 14), Decimal(1), None),
        (NIGHT, Decimal(3), Decimal(20)),
    ]
    text = client.get(url(program)).content.decode()
    assert "Mill Dam" in text
    assert "14 Apr 2024" in text


@pytest.mark.parametrize(
    ("content", "facts", "words"),
    [
        ("date,rain\n2024-04-15,9999\n", {}, "is not possible. Check the unit"),
        ("date,rain\n2024-04-15,1\n", {"code": ""}, "Give the station a code"),
        ("date,high,low\n2024-04-15,5,9\n", {},
         "the high of 5\u00a0°C is below the low of 9\u00a0°C"),
        ("date,rain\n2024-04-15,80\n", {"rain_unit": "in"}, "2032.0 mm (80.00 in) of rain"),
        ("date,high\n2024-04-15,150\n", {"temperature_unit": "F"}, "65.6 °C (150.0 °F) is not"),
        ("date,rain\n2024-04-15,1\n", {"latitude": "-43.1"}, "is the minus sign of the latitude"),
        ("USC00990001,20240415,PRCP,10,,,7,\n", {}, "The file is of the station USC00990001"),
    ],
)  # fmt: skip
def test_what_is_wrong_is_said_and_nothing_kept(
    program, coordinator, client_for, route, content, facts, words
):
    response = send(client_for(coordinator), program, content, **facts)
    assert response.status_code == 400
    assert words.lower() in response.content.decode().lower()
    assert not StationDay.objects.exists()


def test_deleting_a_station_takes_its_days(program, coordinator, client_for):
    station = make_station(program, {NIGHT: (1, 20, 5)})
    other = make_station(make_program(), {NIGHT: (1, 20, 5)})
    client = client_for(coordinator)
    assert client.post(url(program, "station_delete", station=other.pk)).status_code == 404
    assert client.post(url(program, "station_delete", station=station.pk)).status_code == 302
    assert list(WeatherStation.objects.all()) == [other]


def test_review_shows_the_station_beside_what_was_typed(program, coordinator, client_for, route):
    """And a note where a typed temperature is far off: 12 degrees at every stop is not, 30 is."""
    days = {NIGHT - dt.timedelta(days=back): (2.5, 18, 6) for back in range(7)}
    make_station(program, days, name="Mill Dam")
    visit = make_accepted_visit(route, coordinator.person, rain_48h_mm=Decimal("1.0"))
    page = url(program, "review_visit", visit=visit.pk)
    client = client_for(coordinator)
    text = client.get(page).content.decode()
    for words in ("Rain in 48 h", "5 mm", "17.5 mm", "Mill Dam, 7.99 km away", "1 mm"):
        assert words in text, words
    assert "Rain since the season began" not in text
    assert "is far from the high and low" not in text
    visit.start_air_temperature_c = Decimal(30)
    visit.save()
    assert "30\u00a0°C, is far from the high and low" in client.get(page).content.decode()


def test_rows_of_a_publication_name_their_source(program, observer, route):
    days = {NIGHT: (4, 21, 9), NIGHT - dt.timedelta(days=1): (1.5, 20, 8)}
    station = make_station(program, days)
    make_station(make_program(), days)
    visit = make_accepted_visit(route, observer.person)
    make_accepted_visit(route, observer.person, night=dt.date(2024, 5, 20))
    (row,) = station_rows(program, shared_stops(program))
    assert {name: value for name, value in row.items() if value is not None} == {
        "visit": str(visit.pk),
        "rain_48h": 5.5, "rain_48h_station": station.code, "rain_48h_distance_km": 8,
        "high": 21.0, "high_station": station.code, "high_distance_km": 8,
        "low": 9.0, "low_station": station.code, "low_distance_km": 8,
    }  # fmt: skip


def test_the_station_is_looked_up_for_the_place_as_it_is_shared(program, observer, route):
    """So that the nearest station and its distance tell no more of a stop."""
    make_station(program, {NIGHT: (4, 21, 9)})
    make_accepted_visit(route, observer.person)
    program.place_sharing = 4
    program.save()
    (row,) = station_rows(program, shared_stops(program))
    # The middle of the program to a whole degree: 43 N 89 W.
    assert row["high_distance_km"] == 36


def test_the_api_has_the_same_rows(program, partner, observer, client_for, route):
    make_station(program, {NIGHT: (4, 21, 9)})
    make_accepted_visit(route, observer.person)
    client = client_for(make_member(program, Role.PARTNER))
    address = f"/api/v1/{program.slug}/records/station-weather/?route={route.code}"
    assert client.get(address).json() == list(station_rows(program, shared_stops(program)))
    assert client.get(f"{address}&first_year=2025").json() == []
