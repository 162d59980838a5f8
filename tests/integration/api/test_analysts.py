"""Records for analysts through the API: pages by cursor, filters, files."""

import json

import pytest

from surveys.models import Sensitivity
from tests.support.builders import make_accepted_visit, make_checklist, make_route


@pytest.fixture
def route(programme, observer):
    peeper, toad = make_checklist(programme, "Pseudacris crucifer", "Anaxyrus americanus")
    route = make_route(programme, region="North")
    make_accepted_visit(route, observer.person, heard={1: {peeper: 2}, 2: {toad: 3}})
    return route


@pytest.fixture
def api(api_for, partner, route):
    return api_for(partner)


def test_following_next_reads_every_row_once(api):
    whole = api.get("records/calls/")
    assert whole["next"] is None
    read, path = [], "records/calls/?limit=4"
    while path:
        page = api.get(path)
        read += page["results"]
        path = page["next"] and page["next"].split(f"/{api.member.programme.slug}/")[1]
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
def test_what_cannot_be_is_refused_in_words(api, query, where):
    answer = api("GET", f"records/calls/?{query}")
    assert answer.status == 400
    assert answer.data["where"] == where
    assert answer.data["detail"]


def test_observers_are_pseudonyms(api):
    (visit,) = api.get("records/visits/")["results"]
    assert visit["observer"].startswith("Observer ")
    assert visit["night"] == "2024-04-15"


def test_periods_have_no_place_that_was_measured(api):
    periods = api.get("records/periods/")["results"]
    assert len(periods) == 3
    assert "measured_at" not in periods[0]


def test_stops_are_generalised_and_nameless(api):
    stops = api.get("records/stops/")
    assert [(stop["name"], stop["latitude"], stop["grid_degrees"]) for stop in stops] == [
        ("", 43.075, 0.01)
    ] * 3
    assert {stop["region"] for stop in stops} == {"North"}
    features = api.get("records/stops/geojson/")["features"]
    assert features[0]["geometry"] == {"type": "Point", "coordinates": [-89.405, 43.075]}


def test_a_withheld_stop_has_no_geometry(api, programme):
    programme.place_sharing = Sensitivity.EXTREME
    programme.save()
    features = api.get("records/stops/geojson/")["features"]
    assert {feature["geometry"] for feature in features} == {None}


def test_open_stops_have_their_names(api, programme):
    programme.place_sharing = Sensitivity.OPEN
    programme.save()
    assert [stop["name"] for stop in api.get("records/stops/")] == ["Stop 1", "Stop 2", "Stop 3"]


@pytest.mark.parametrize(
    ("form", "kind", "first"),
    [
        ("csv", "text/csv; charset=utf-8; header=present", b"period,visit"),
        ("json", "application/x-ndjson", b'{"period"'),
        ("parquet", "application/vnd.apache.parquet", b"PAR1"),
    ],
)
def test_exports_are_streams_of_their_kind(api, form, kind, first):
    path = f"/api/v1/{api.member.programme.slug}/records/calls/export/?format={form}"
    answer = api.client.get(path, headers={"Accept": "text/html"})
    assert answer.status_code == 200
    assert answer.streaming
    assert answer.headers["Content-Type"] == kind
    assert answer.headers["RateLimit"].startswith('"hour";r=')
    assert answer.getvalue().startswith(first)


def test_json_lines_are_those_of_the_pages(api):
    path = f"/api/v1/{api.member.programme.slug}/records/calls/export/?format=json"
    lines = api.client.get(path).getvalue().splitlines()
    assert [json.loads(line) for line in lines] == api.get("records/calls/")["results"]


def test_an_unknown_format_is_refused_in_words(api):
    answer = api("GET", "records/calls/export/?format=xml")
    assert (answer.status, answer.data["where"]) == (400, "format")
