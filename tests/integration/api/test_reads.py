"""What a program surveys and what came of it, over the API."""

import datetime as dt

import pytest
from django.contrib.gis.geos import LineString, Point
from django.urls import reverse

from accounts.models import Role
from surveys.api.urls import urlpatterns
from surveys.fitting.refit import refit
from surveys.models import ChecklistEntry, ExactDownload, Sensitivity, Stop
from surveys.publishing.tables import TABLE
from tests.support.builders import (
    make_accepted_visit,
    make_checklist,
    make_joint_entry,
    make_member,
    make_program,
    make_route,
    make_species,
    make_version,
)
from tests.support.publishing import build_what_waits, publish_now


@pytest.fixture
def route(program):
    version = make_version(program, settling_wait_s=120, max_beaufort=3)
    return make_route(program, version=version, code="R07", region="North")


@pytest.fixture
def species(program):
    return make_checklist(program, "Pseudacris crucifer", "Anaxyrus americanus")


@pytest.fixture
def accepted(route, observer, species):
    peeper, _ = species
    return make_accepted_visit(route, observer.person, heard={1: {peeper: 3}, 2: {peeper: 1}})


def test_the_program(api_for, partner, program):
    facts = api_for(partner).get("")
    assert (facts["name"], facts["time_zone"]) == (program.name, "America/Chicago")
    assert facts["role"] == "partner"


def test_routes_and_their_stops_on_a_night(api_for, observer, program, route):
    make_route(make_program())
    api = api_for(observer)
    assert [row["code"] for row in api.get("routes/")["results"]] == ["R07"]
    route.stops.filter(number=2).update(active_until=dt.date(2024, 6, 30))
    Stop.objects.create(
        route=route,
        number=2,
        name="Moved",
        place=Point(-89.38, 43.08, srid=4326),
        active_from=dt.date(2024, 7, 1),
    )
    before = api.get("routes/R07/?night=2024-04-15")
    after = api.get("routes/R07/?night=2024-07-15")
    assert [stop["name"] for stop in before["stops"]] == ["Stop 1", "Stop 2", "Stop 3"]
    assert [stop["name"] for stop in after["stops"]] == ["Stop 1", "Moved", "Stop 3"]
    assert after["stops"][1]["place"] == {"type": "Point", "coordinates": [-89.38, 43.08]}
    assert before["protocol_version"] == route.protocol.versions.get().pk
    assert api.get("routes/R07/?night=1990-01-01")["protocol_version"] is None


def test_geojson(api_for, observer, route):
    """A feature collection as RFC 7946, section 3.3, describes it: longitude first."""
    route.line = LineString((-89.4012, 43.0731), (-89.3762, 43.0731), srid=4326)
    route.save()
    collection = api_for(observer).get("routes/R07/geojson/?night=2024-04-15")
    assert collection["type"] == "FeatureCollection"
    line, *stops = collection["features"]
    assert line["geometry"]["type"] == "LineString"
    assert line["geometry"]["coordinates"] == [[-89.4012, 43.0731], [-89.3762, 43.0731]]
    assert [stop["properties"]["stop"] for stop in stops] == [1, 2, 3]
    assert all(feature["type"] == "Feature" for feature in collection["features"])
    assert stops[0]["geometry"] == {"type": "Point", "coordinates": [-89.4012, 43.0731]}


@pytest.mark.parametrize(
    ("path", "status"),
    [
        ("routes/R99/", 404),
        ("routes/R99/geojson/", 404),
        ("routes/R07/?night=soon", 400),
        ("protocol-versions/0/", 404),
        ("checklist/?night=soon", 400),
        ("seasons/coverage/", 400),
        ("seasons/route-years/?species=unicorn", 400),
        ("seasons/route-years/?region=Nowhere", 400),
        ("trends/?first_year=soon", 400),
        ("publications/2024/1/", 404),
    ],
)
def test_missing_or_invalid_input_is_explained(api_for, observer, route, path, status):
    answer = api_for(observer)("GET", path)
    assert answer.status == status
    assert answer.data["detail"]


def test_protocol_versions(api_for, partner, route):
    make_route(make_program())
    api = api_for(partner)
    (row,) = api.get("protocol-versions/")["results"]
    assert row == api.get(f"protocol-versions/{row['id']}/")
    assert (row["number"], row["settling_wait_s"], row["max_beaufort"]) == (1, 120, 3)
    (window,) = row["windows"]
    assert (window["name"], window["opens_month"], window["opens_day"]) == ("Spring", 3, 15)


def test_the_checklist_of_a_night(api_for, partner, program, species):
    entry = program.checklist.get(species=species[1])
    entry.listed_until = dt.date(2023, 12, 31)
    entry.save()
    api = api_for(partner)
    assert [row["code"] for row in api.get("checklist/?night=2023-04-15")] == [
        "pseudacris-crucifer",
        "anaxyrus-americanus",
    ]
    assert [row["code"] for row in api.get("checklist/?night=2024-04-15")] == [
        "pseudacris-crucifer"
    ]


def test_the_checklist_names_the_members_of_joint_entries(api_for, partner, program, species):
    joint = make_joint_entry("Peeper or toad", *species)
    ChecklistEntry.objects.create(program=program, species=joint, order=9)
    rows = {row["code"]: row for row in api_for(partner).get("checklist/")}
    assert sorted(rows["peeper-or-toad"]["members"]) == [
        "anaxyrus-americanus",
        "pseudacris-crucifer",
    ]
    assert rows["peeper-or-toad"]["is_complex"]
    assert rows["pseudacris-crucifer"]["members"] == []


def test_route_years(api_for, observer, accepted, route, species):
    api = api_for(observer)
    table = api.get("seasons/route-years/")
    assert table["years"][0] == 2024
    (row,) = table["rows"]
    cell = row["cells"][0]
    assert (row["code"], cell["highest_index"]) == ("R07", 3)
    assert (cell["stops_detected"], cell["stops_listened"], cell["visits"]) == (2, 3, 1)
    quiet = api.get("seasons/route-years/?species=anaxyrus-americanus")["rows"][0]["cells"][0]
    assert (quiet["highest_index"], quiet["stops_detected"]) == (0, 0)
    make_route(route.program, region="South")
    rows = api.get("seasons/route-years/?region=South")["rows"]
    assert "R07" not in [row["code"] for row in rows]


def test_coverage(api_for, observer, accepted):
    table = api_for(observer).get("seasons/coverage/?season_year=2024")
    assert table["windows"] == ["Spring"]
    (cell,) = table["rows"][0]["cells"]
    assert (cell["coverage"], cell["opens"], cell["visits"]) == ("done", "2024-03-15", 1)
    assert table["totals"]["done"] == 1


def test_trends(api_for, partner, accepted):
    table = api_for(partner).get("trends/?species=pseudacris-crucifer")
    (row,) = table["rows"]
    assert [column["name"] for column in table["columns"]] == list(row)
    assert (row["species"], row["season_year"]) == ("Pseudacris crucifer", 2024)
    assert (row["stops"], row["stops_detected"]) == (3, 2)
    assert row["naive_occupancy"] == pytest.approx(2 / 3)
    assert row["first_night"] == "2024-04-15"
    assert len(api_for(partner).get("trends/")["rows"]) == 2
    assert api_for(partner).get("trends/?first_year=2025")["rows"] == []


def test_publishing(api_for, coordinator, partner, observer, accepted):
    body = {"season_year": 2024}
    for member in (partner, observer):
        assert api_for(member)("POST", "publications/", body).status == 403
    api = api_for(coordinator)
    answer = api("POST", "publications/", body)
    assert (answer.status, answer.data["state"]) == (202, "queued")
    run = f"publications/runs/{answer.data['id']}/"
    assert api("POST", "publications/", body).status == 409
    build_what_waits()
    assert (api.get(run)["state"], api.get(run)["version"]) == ("done", 1)
    assert api_for(partner)("GET", run).status == 403
    (row,) = api_for(partner).get("publications/")["results"]
    assert (row["season_year"], row["version"], row["visit_count"]) == (2024, 1, 1)
    # Partners do not see who is behind a publication.
    assert row["published_by"] is None
    whole = api_for(partner).get("publications/2024/1/")
    assert (whole["published_by"], whole["newest_version"]) == (None, 1)
    assert api_for(observer).get("publications/2024/1/")["published_by"] == coordinator.person.name
    by_kind = {file["kind"]: file for file in whole["files"]}
    assert by_kind["data/yearly.csv"]["rows"] == row["row_count"]
    assert "exact/SHA256SUMS.txt" not in by_kind
    again = api("POST", "publications/", body)
    assert again.status == 400
    assert again.data["detail"]
    assert api("POST", "publications/", {"season_year": 2024, "seen": "0"}).status == 409
    assert api("POST", "publications/", {"season_year": 1999}).status == 400


READS = [
    ("", {"coordinator", "observer", "partner"}),
    ("routes/", {"coordinator", "observer"}),
    ("routes/R07/", {"coordinator", "observer"}),
    ("routes/R07/geojson/", {"coordinator", "observer"}),
    ("protocol-versions/", {"coordinator", "observer", "partner"}),
    ("checklist/", {"coordinator", "observer", "partner"}),
    ("visits/", {"coordinator", "observer"}),
    ("seasons/route-years/", {"coordinator", "observer"}),
    ("seasons/coverage/?season_year=2024", {"coordinator", "observer", "partner"}),
    ("records/routes/", {"coordinator", "observer", "partner"}),
    ("trends/", {"coordinator", "observer", "partner"}),
    ("publications/", {"coordinator", "observer", "partner"}),
]


@pytest.mark.parametrize(("path", "allowed"), READS)
def test_who_may_read(client, api_for, observer, coordinator, partner, route, path, allowed):
    members = {"observer": observer, "coordinator": coordinator, "partner": partner}
    for role, member in members.items():
        answer = api_for(member)("GET", path)
        assert answer.status == (200 if role in allowed else 403), role
    foreign = f"/api/v1/{make_program().slug}/{path}"
    client.force_login(coordinator.person)
    assert client.get(foreign).status_code == 404
    client.logout()
    anonymous = client.get(f"/api/v1/{observer.program.slug}/{path}")
    assert (anonymous.status_code, anonymous["WWW-Authenticate"]) == (401, "Bearer")


def test_species_of_the_catalog_off_the_checklist_are_not_offered(api_for, observer, species):
    make_species("Rana aurora")
    answer = api_for(observer)("GET", "trends/?species=rana-aurora")
    assert (answer.status, answer.data["where"]) == (400, "species")


def test_species_trends_come_with_flags_and_other_choices(api_for, partner, accepted, program):
    refit(program)
    answer = api_for(partner).get("trends/species/?species=pseudacris-crucifer&site=stop")
    (row,) = answer["rows"]
    assert (row["species"], row["fresh"]) == ("pseudacris-crucifer", True)
    assert set(row["trend"]) <= set(TABLE["trends"].header)
    assert list(row["years"][0]) == list(TABLE["occupancy"].header)
    assert list(row["sensitivity"][0]) == list(TABLE["sensitivity"].header)
    assert row["trend"]["change"] is None
    assert "too-few-data" in row["trend"]["flags"]
    assert set(row["trend"]["flags"].split("; ")) <= set(answer["flags"])
    assert "there is only one season, 2024" in row["sentence"]
    assert row["null_run"] is None
    assert row["whole_sentence"] == ""
    assert row["chorus_sentence"].startswith("Full chorus: no trend is reported")
    assert row["trend"]["chorus_change"] is None
    assert "too-few-data" in row["trend"]["chorus_flags"]
    program.region_weights = {"Nowhere": 1.0}
    program.save()
    refit(program)
    (row,) = api_for(partner).get("trends/species/?species=pseudacris-crucifer")["rows"]
    assert row["trend"]["whole_change"] is None
    assert row["whole_sentence"].startswith("Nothing is reported for the whole program")
    assert set(row["trend"]["whole_flags"].split("; ")) <= set(answer["flags"])
    assert api_for(partner)("GET", "trends/species/?site=pond").status == 400


def test_the_null_run_of_the_newest_publication_is_in_the_trends(
    api_for, coordinator, accepted, program
):
    publish_now(coordinator, 2024)
    make_accepted_visit(accepted.route, accepted.observer, night=dt.date(2025, 4, 12))
    publish_now(coordinator, 2025)
    newer = program.publications.first()  # that another program has
    newer.pk, newer.program, newer.season_year = None, make_program(), 2026
    newer.save()
    refit(program)
    api = api_for(coordinator)
    row = api.get("trends/species/")["rows"][0]
    assert list(row["null_run"]) == [*TABLE["null_runs"].header, "season_year", "version"]
    run = row["null_run"]
    assert (run["runs"], run["season_year"], run["version"]) == (0, 2025, 1)
    for query in ("?site=route", "?region=North"):
        rows = api.get(f"trends/species/{query}")["rows"]
        assert all(row["null_run"] is None for row in rows)


@pytest.mark.parametrize(
    "path", ["trends/", "seasons/route-years/", "records/visits/", "records/calls/export/"]
)
def test_the_first_year_must_not_be_after_the_last(api_for, observer, route, path):
    answer = api_for(observer)("GET", f"{path}?first_year=2024&last_year=2020")
    assert (answer.status, answer.data["where"]) == (400, "first_year")
    assert "2024" in answer.data["detail"]
    assert "2020" in answer.data["detail"]
    same = api_for(observer).client.get(
        f"/api/v1/{observer.program.slug}/{path}?first_year=2024&last_year=2024"
    )
    assert same.status_code == 200


def test_no_address_takes_a_filter_that_it_does_not_know(api_for, coordinator, route):
    """Every address that a GET can open without more than a program."""
    api = api_for(coordinator)
    names = [
        pattern.name
        for pattern in urlpatterns
        if list(pattern.pattern.converters) == ["program"] and pattern.name != "recordings"
    ]
    assert len(names) > 15
    for name in names:
        path = reverse(f"api:{name}", kwargs={"program": api.member.program.slug})
        answer = api.client.get(f"{path}?shade=green")
        assert answer.status_code == 400, name
        assert answer.json()["where"] == "shade", name
        assert "“shade”" in answer.json()["detail"], name


def test_a_refused_filter_names_those_there_are(api_for, partner):
    detail = api_for(partner)("GET", "trends/?year=2024").data["detail"]
    assert detail == (
        "There is no filter “year” here. There are: first_year, last_year, species, region."
    )
    assert "takes none" in api_for(partner)("GET", "?night=2024-04-12").data["detail"]
    assert api_for(partner)("GET", "publications/?limit=2&offset=0").status == 200


@pytest.fixture
def shy(program, route):
    """A second route, with a species that is withheld within 0.1 degrees."""
    (gopher,) = make_checklist(program, "Lithobates capito")
    program.checklist.filter(species=gopher).update(sensitivity=Sensitivity.HIGH)
    program.place_sharing = Sensitivity.OPEN
    program.save()
    hollow = make_route(program, code="R08", name="Gopher Hollow", region="South")
    observer = make_member(program, Role.OBSERVER)
    make_accepted_visit(hollow, observer.person, heard={1: {gopher: 1}})
    return hollow


def test_a_partner_reads_routes_as_coarse_as_they_are_shared(api_for, partner, shy, route):
    other = make_route(make_program(), code="X1", name="Elsewhere")
    rows = {row["route"]: row for row in api_for(partner).get("records/routes/")}
    assert set(rows) == {"R07", "R08"}
    assert other.code not in rows
    near, far = rows["R07"], rows["R08"]
    assert (near["name"], near["information_withheld"]) == (route.name, None)
    assert (far["name"], far["region"]) == ("", "South")
    assert far["coordinate_uncertainty_m"] > 7000 > near["coordinate_uncertainty_m"]
    assert (far["latitude"], far["longitude"]) == pytest.approx((43.05, -89.383333), abs=1e-6)
    assert far["information_withheld"].startswith("Exact coordinates")


def test_exact_routes_need_the_right_and_are_noted(api_for, partner, coordinator, shy):
    assert api_for(partner)("GET", "records/routes/?places=exact").status == 403
    rows = {row["route"]: row for row in api_for(coordinator).get("records/routes/?places=exact")}
    assert (rows["R08"]["name"], rows["R08"]["information_withheld"]) == ("Gopher Hollow", None)
    assert ExactDownload.objects.get().person == coordinator.person


def test_coverage_names_a_route_only_to_who_may_know_where_it_is(api_for, partner, observer, shy):
    def names(member):
        rows = api_for(member).get("seasons/coverage/?season_year=2024")["rows"]
        return {row["code"]: row["name"] for row in rows}

    assert names(partner)["R08"] == ""
    assert names(partner)["R07"] != ""
    assert names(observer)["R08"] == "Gopher Hollow"
