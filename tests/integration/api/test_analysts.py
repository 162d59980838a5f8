"""Records for analysts through the API: pages by cursor, filters, files."""

import datetime as dt
import json

import pytest
from django.utils import timezone

from accounts.models import Role
from surveys.api.serializers.analysts import StopRecordSerializer
from surveys.models import (
    Sensitivity,
    Stop,
    Visit,
)
from surveys.visits.verbs import (
    accept,
    reopen,
    send_back,
    set_aside,
)
from tests.support.builders import (
    make_accepted_visit,
    make_checklist,
    make_member,
    make_program,
    make_route,
)


@pytest.fixture
def route(program, observer):
    peeper, toad = make_checklist(program, "Pseudacris crucifer", "Anaxyrus americanus")
    route = make_route(program, region="North")
    make_accepted_visit(route, observer.person, heard={1: {peeper: 2}, 2: {toad: 3}})
    return route


@pytest.fixture
def api(api_for, partner, route):
    return api_for(partner)


def test_paging_reads_every_row_once(api):
    whole = api.get("records/calls/")
    assert whole["next"] is None
    read, path = [], "records/calls/?limit=4"
    while path:
        page = api.get(path)
        read += page["results"]
        path = page["next"] and page["next"].split(f"/{api.member.program.slug}/")[1]
    assert read == whole["results"]
    assert len(read) == 6


@pytest.mark.parametrize(
    ("query", "where"),
    [
        ("cursor=nonsense", "cursor"),
        ("cursor=é", "cursor"),
        ("cursor=WyJhIl0", "cursor"),  # ["a"]
        ("cursor=WyJhIiwiYiJd", "cursor"),  # ["a","b"]
        ("limit=0", "limit"),
        ("limit=100000", "limit"),
        ("route=R-none", "route"),
        ("species=none", "species"),
        ("season_year=12", "season_year"),
        ("changed_since=yesterday", "changed_since"),
        ("places=all", "places"),
    ],
)
def test_invalid_parameters_are_refused_with_a_message(api, query, where):
    answer = api("GET", f"records/calls/?{query}")
    assert answer.status == 400
    assert answer.data["where"] == where
    assert answer.data["detail"]


def test_observers_are_pseudonyms(api):
    (visit,) = api.get("records/visits/")["results"]
    assert visit["observer"].startswith("Observer ")
    assert visit["night"] == "2024-04-15"


def reopened(visit, member) -> int:
    """The revision after it."""
    return reopen(member, visit.pk, note="The wrong road.", revision=visit.revision).revision


@pytest.mark.parametrize(
    ("verb", "named"),
    [
        (lambda visit, member: None, False),
        (lambda visit, member: reopened(visit, member), True),
        (
            lambda visit, member: set_aside(
                member, visit.pk, note="Twice.", revision=reopened(visit, member)
            ),
            True,
        ),
        (
            lambda visit, member: send_back(
                member, visit.pk, note="See stop 2.", revision=reopened(visit, member)
            ),
            True,
        ),
        (lambda visit, member: accept(member, visit.pk, revision=reopened(visit, member)), False),
        (lambda visit, member: Visit.objects.filter(pk=visit.pk).delete(), True),
    ],
    ids=["counts", "reopened", "set aside", "sent back", "accepted again", "deleted"],
)
def test_visits_that_no_longer_count_are_listed(api, coordinator, verb, named):
    """The copy of an analyst who asks for what changed loses what no longer counts."""
    visit = Visit.objects.get()
    before = timezone.now()
    verb(visit, coordinator)
    rows = api.get("records/stopped-counting/")["results"]
    counting = [row["visit"] for row in api.get("records/visits/")["results"]]
    assert ([row["visit"] for row in rows], counting) == (
        ([str(visit.pk)], []) if named else ([], [str(visit.pk)])
    )
    if not named:
        return
    (row,) = rows
    stopped_at = dt.datetime.fromisoformat(row["stopped_at"])
    assert before.replace(microsecond=0) - dt.timedelta(minutes=10) <= stopped_at <= timezone.now()
    assert row == {
        "visit": str(visit.pk),
        "route": visit.route.code,
        "night": "2024-04-15",
        "season_year": 2024,
        "stopped_at": row["stopped_at"],
    }
    for query, expected in (
        ("changed_since=2024-01-01T00:00:00Z", 1),
        ("changed_since=2999-01-01T00:00:00Z", 0),
        ("season_year=2024", 1),
        ("season_year=2023", 0),
        (f"route={visit.route.code}", 1),
    ):
        assert len(api.get(f"records/stopped-counting/?{query}")["results"]) == expected, query


def test_visits_of_another_program_are_not_listed(api, api_for):
    Visit.objects.all().delete()
    assert len(api.get("records/stopped-counting/")["results"]) == 1
    stranger = api_for(make_member(make_program(), Role.COORDINATOR))
    assert stranger.get("records/stopped-counting/")["results"] == []


def test_periods_have_no_measured_position(api):
    periods = api.get("records/periods/")["results"]
    assert len(periods) == 3
    assert "measured_at" not in periods[0]


def test_stops_are_generalized_and_nameless(api):
    stops = api.get("records/stops/")
    assert [(stop["name"], stop["latitude"], stop["grid_degrees"]) for stop in stops] == [
        ("", 43.075, 0.01)
    ] * 3
    assert {stop["region"] for stop in stops} == {"North"}
    assert [set(stop) for stop in stops] == [set(StopRecordSerializer().fields)] * 3
    features = api.get("records/stops/geojson/")["features"]
    assert features[0]["geometry"] == {"type": "Point", "coordinates": [-89.405, 43.075]}


def test_a_withheld_stop_has_no_geometry(api, program):
    program.place_sharing = Sensitivity.EXTREME
    program.save()
    features = api.get("records/stops/geojson/")["features"]
    assert {feature["geometry"] for feature in features} == {None}


def test_open_stops_have_their_names(api, program):
    program.place_sharing = Sensitivity.OPEN
    program.save()
    assert [stop["name"] for stop in api.get("records/stops/")] == ["Stop 1", "Stop 2", "Stop 3"]


def test_exact_stops_have_their_names_and_no_road(api_for, program, route):
    Stop.objects.filter(route=route).update(road="Ferry Road", county="Alder County")
    api = api_for(make_member(program, Role.PARTNER, exact_places=True))
    stops = api.get("records/stops/?places=exact")
    places = [(stop["name"], stop["latitude"], stop["longitude"]) for stop in stops]
    assert places == [
        (stop.name, stop.place.y, stop.place.x) for stop in route.stops.order_by("number")
    ]
    assert [set(stop) for stop in stops] == [set(StopRecordSerializer().fields)] * 3


@pytest.mark.parametrize(
    ("form", "kind", "first"),
    [
        ("csv", "text/csv; charset=utf-8; header=present", b"period,visit"),
        ("json", "application/x-ndjson", b'{"period"'),
        ("parquet", "application/vnd.apache.parquet", b"PAR1"),
    ],
)
def test_exports_are_streamed_with_their_media_type(api, form, kind, first):
    path = f"/api/v1/{api.member.program.slug}/records/calls/export/?format={form}"
    answer = api.client.get(path, headers={"Accept": "text/html"})
    assert answer.status_code == 200
    assert answer.streaming
    assert answer.headers["Content-Type"] == kind
    assert answer.headers["RateLimit"].startswith('"hour";r=')
    assert answer.getvalue().startswith(first)


def test_json_lines_equal_the_pages(api):
    path = f"/api/v1/{api.member.program.slug}/records/calls/export/?format=json"
    lines = api.client.get(path).getvalue().splitlines()
    assert [json.loads(line) for line in lines] == api.get("records/calls/")["results"]


def test_unknown_format_is_refused_with_a_message(api):
    answer = api("GET", "records/calls/export/?format=xml")
    assert (answer.status, answer.data["where"]) == (400, "format")
