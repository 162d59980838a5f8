"""Rule, packet, phone, Tonight and the printed sheet tell the same hours, and who keeps them
gets no question."""

import datetime as dt
import io
import itertools
import re
from zoneinfo import ZoneInfo

import pytest
from django.contrib.gis.geos import Point
from pypdf import PdfReader

from accounts.models import Role
from surveys.models import Stop
from surveys.protocol.hours import route_hours
from surveys.protocol.rules.judge import judge
from surveys.protocol.sky import stop_sky
from surveys.protocol.values import (
    Case,
    MonthDay,
    Period,
    PeriodStatus,
    Place,
    Protocol,
    Route,
    Surroundings,
    Visit,
)
from surveys.protocol.values import Stop as RouteStop
from surveys.visits.tonight import route_on_night
from surveys.web.survey.packets import route_packet
from tests.support.builders import make_member, make_program, make_route, make_version
from tests.support.for_each import for_each

MINUTE = dt.timedelta(minutes=1)
# First stop and zone; the other stops lie to the west and north-east of it.
PLACES = [
    (43.0731, -89.4012, "America/Chicago"),
    (29.6516, -82.3248, "America/New_York"),
    (33.4484, -112.0740, "America/Phoenix"),
    (47.5615, -52.7126, "America/St_Johns"),
    (64.8378, -147.7164, "America/Anchorage"),
]
PROTOCOL = Protocol(
    name="Roadside",
    version=1,
    season_year_begins=MonthDay(month=1, day=1),
    windows=(),
    listening_time=dt.timedelta(minutes=3),
    earliest_start_after_sunset=dt.timedelta(minutes=30),
    latest_end_after_sunset=dt.timedelta(hours=4),
)
SURROUNDINGS = Surroundings(now=dt.datetime(2025, 6, 1, tzinfo=dt.UTC))
NIGHTS = [dt.date(2024, 1, 9) + dt.timedelta(days=23 * number) for number in range(16)]
HOUR_RULES = {"before-dusk", "after-last-hour"}


def places_along(latitude, longitude):
    steps = [(0, 0), (0.01, -0.05), (0.02, -0.11), (-0.03, 0.07), (0.05, 0.12)]
    return [Place(latitude=latitude + north, longitude=longitude + east) for north, east in steps]


@for_each("place, night", itertools.product(PLACES, NIGHTS))
def test_who_keeps_the_hours_gets_no_question_and_a_minute_more_gets_one(place, night):
    latitude, longitude, zone = place
    places = places_along(latitude, longitude)
    skies = {number: stop_sky(place, night, zone) for number, place in enumerate(places, start=1)}
    hours = route_hours(PROTOCOL, skies.values(), night, zone)
    if hours.earliest_start is None:
        return  # The sun does not set.
    start, end = hours.earliest_start, hours.latest_end
    assert start.second == start.microsecond == end.second == end.microsecond == 0

    def codes(started, finished):
        periods = tuple(
            Period(
                stop=stop,
                status=PeriodStatus.LISTENED,
                started_at=started,
                finished_at=finished,
            )
            for stop in skies
        )
        route = Route(
            code="R",
            name="R",
            time_zone=zone,
            stops=tuple(
                RouteStop(number=number, name="", place=place)
                for number, place in enumerate(places, start=1)
            ),
        )
        case = Case(
            visit=Visit(night=night, periods=periods),
            route=route,
            protocol=PROTOCOL,
            sky=skies,
            surroundings=SURROUNDINGS,
        )
        return HOUR_RULES & {finding.code for finding in judge(case)}

    assert codes(start, end) == set()
    assert codes(start - MINUTE, end) == {"before-dusk"}
    assert codes(start, end + MINUTE) == {"after-last-hour"}
    # The limits themselves stay those of the protocol: nobody is held back more than a minute.
    sunsets = [sky.sunset for sky in skies.values()]
    assert start - max(sunsets) - PROTOCOL.earliest_start_after_sunset < MINUTE
    assert min(sunsets) + PROTOCOL.latest_end_after_sunset - end < MINUTE


@pytest.mark.django_db
@pytest.mark.parametrize(("latitude", "longitude", "zone"), PLACES[:4])
def test_every_screen_and_sheet_tells_the_same_hours(latitude, longitude, zone, client_for):
    program = make_program(time_zone=zone)
    observer = make_member(program, Role.OBSERVER)
    version = make_version(
        program, earliest_start_after_sunset_min=30, latest_end_after_sunset_min=240
    )
    route = make_route(program, version=version, stops=5)
    for stop, place in zip(
        route.stops.order_by("number"), places_along(latitude, longitude), strict=True
    ):
        Stop.objects.filter(pk=stop.pk).update(place=Point(place.longitude, place.latitude))

    def shown(instant):
        return f"{instant.astimezone(ZoneInfo(zone)):%H:%M}"

    client = client_for(observer)
    first = dt.date(2024, 3, 20)
    evening = dt.datetime.combine(first, dt.time(18), ZoneInfo(zone)).astimezone(dt.UTC)
    packet = route_packet(observer, route.code, evening)
    assert len(packet["nights"]) > 10
    for name, night in packet["nights"].items():
        tonight = route_on_night(observer, route.code, dt.date.fromisoformat(name))
        hours = {key: dt.datetime.fromisoformat(value) for key, value in night["hours"].items()}
        assert tonight.earliest_start == hours["earliest_start"]
        assert tonight.latest_end == hours["latest_end"]
        stops = night["stops"].values()
        assert max(stop["earliest_start"] for stop in stops) == night["hours"]["earliest_start"]
        assert min(stop["latest_end"] for stop in stops) == night["hours"]["latest_end"]
    start, end = shown(tonight.earliest_start), shown(tonight.latest_end)
    here = f"/{program.slug}/tonight/{route.code}"
    page = client.get(f"{here}/?night={name}").content.decode()
    assert re.search(rf"Earliest start</dt>\s*<dd>{start}</dd>", page)
    assert re.search(rf"Latest end</dt>\s*<dd>{end}</dd>", page)
    pdf = client.get(f"{here}/sheet.pdf?paper=letter&night={name}").content
    text = PdfReader(io.BytesIO(pdf)).pages[0].extract_text()
    assert start in text
    assert end in text
