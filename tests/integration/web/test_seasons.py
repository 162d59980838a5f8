"""Seasons on the screen: numbers, filters in the URL, the way down to a visit, access."""

import datetime as dt
import json
import re

import pytest
from django.urls import reverse

from surveys.models import (
    Assignment,
    Route,
    VisitState,
)
from surveys.programs.assignments import current_season_year
from tests.support.builders import (
    make_accepted_visit,
    make_checklist,
    make_member,
    make_program,
    make_route,
)

pytestmark = pytest.mark.django_db


def url(name, program, **query):
    return reverse(f"web:{name}", kwargs={"program": program.slug}, query=query or None)


@pytest.fixture
def species(program):
    return make_checklist(program, "Pseudacris crucifer", "Anaxyrus americanus")


@pytest.fixture
def route(program, observer, species):
    """2022: silent. 2023: nobody. 2024: peeper 3 and toad 1 at two of three stops."""
    peeper, toad = species
    route = make_route(program, code="R07", region="Lowlands")
    make_accepted_visit(route, observer.person, night=dt.date(2022, 4, 2))
    make_accepted_visit(
        route,
        observer.person,
        night=dt.date(2024, 4, 2),
        heard={1: {peeper: 3}, 2: {toad: 1}},
    )
    return route


@pytest.fixture
def page(client_for, observer):
    client = client_for(observer)

    def get(path):
        response = client.get(path)
        assert response.status_code == 200
        return response

    return get


def table_rows(response):
    """The body of the first table as lists of cell texts."""
    body = re.search(r"<tbody>(.*?)</tbody>", response.content.decode(), re.DOTALL).group(1)
    rows = re.findall(r"<tr.*?>(.*?)</tr>", body, re.DOTALL)
    cells = [re.findall(r"<t[hd].*?>(.*?)</t[hd]>", row, re.DOTALL) for row in rows]
    return [[" ".join(re.sub(r"<[^>]+>", " ", cell).split()) for cell in row] for row in cells]


def table_rows_of(page):
    return re.search(r"<tbody>(.*?)</tbody>", page, re.DOTALL).group(1)


def test_route_by_year(program, route, page):
    (row,) = table_rows(page(url("seasons", program, measure="index", until="2024")))
    assert row == [
        "R07 Heron Slough Loop",
        "0 0/3 , 0 of 3 stops",
        "gap",
        "3 2/3 , 2 of 3 stops",
    ]


def test_opens_on_species_heard_and_on_years_without_a_visit_to_this_one(program, route, page):
    response = page(url("seasons", program))
    (row,) = table_rows(response)
    assert row[1:4] == [
        "0 1 visit , 0 species heard",
        "gap",
        "2 1 visit , 2 species heard",
    ]
    years = response.context["years"]
    assert years == tuple(range(2022, current_season_year(program) + 1))
    assert years[-1] > 2024
    assert set(row[4:]) == {"gap"}


def test_species_chosen_last_is_shown_again_until_it_is_cleared(program, route, page):
    page(url("seasons", program, species="anaxyrus-americanus"))
    again = page(url("seasons", program))
    assert again.context["filters"].species.code == "anaxyrus-americanus"
    assert 'href="?species="' in again.content.decode()
    page(url("seasons", program) + "?species=")
    assert page(url("seasons", program)).context["filters"].species is None


def test_what_changed_in_a_season(program, observer, species, page):
    peeper, toad = species
    routes = [make_route(program, code=f"R0{number}", stops=1) for number in range(3)]
    for year in (2021, 2022):
        make_accepted_visit(
            routes[0], observer.person, night=dt.date(year, 4, 2), heard={1: {peeper: 1}}
        )
        make_accepted_visit(routes[1], observer.person, night=dt.date(year, 4, 2))
        make_accepted_visit(routes[2], observer.person, night=dt.date(year, 4, 2))
    for route in routes[:2]:
        make_accepted_visit(route, observer.person, night=dt.date(2023, 4, 2), heard={1: {toad: 1}})
    response = page(url("season_changed", program, year="2023"))
    changed = response.context["changed"]
    assert [(one.code, one.species, one.years) for one in changed.silent] == [
        ("R00", peeper.name, (2021, 2022))
    ]
    assert [(one.code, one.species) for one in changed.new] == [
        ("R00", toad.name),
        ("R01", toad.name),
    ]
    assert [code for code, _ in changed.gaps] == ["R02"]
    # Each list is one landmark.
    labels = re.findall(r'aria-labelledby="([^"]+)"', response.content.decode())
    assert sorted(labels) == sorted(set(labels))
    assert {"silent", "new"} <= set(labels)
    (link,) = re.findall(r'href="([^"]+changed/table.csv[^"]*)"', response.content.decode())
    lines = page(link).content.decode().splitlines()
    assert lines[1:] == [
        f"Silent,R00,{peeper.name},2021 2022",
        f"New,R00,{toad.name},",
        f"New,R01,{toad.name},",
        "No visit,R02,,",
    ]


def test_tables_as_files(program, route, page):
    Route.objects.filter(pk=route.pk).update(code="R07", region="=1+1")
    whole = page(url("seasons_csv", program, since="2024", until="2024"))
    assert whole.content.decode().splitlines()[1] == "R07,'=1+1,,2024,2,3,2,3,1,1,1"
    assert "attachment" in whole["Content-Disposition"]
    coverage = page(url("season_coverage_csv", program, year="2024")).content.decode()
    assert coverage.splitlines()[1].endswith(",Done,1,")


def test_visits_behind_a_number_as_a_file(program, route, observer, page):
    shown = page(url("season_visits", program, since="2024", until="2024"))
    (link,) = re.findall(r'href="([^"]+visits/table.csv[^"]*)"', shown.content.decode())
    rows = page(link.replace("&amp;", "&")).content.decode().splitlines()
    assert rows[0].startswith("Night,Route,Season,Survey window,Observer,Highest call index,")
    assert len(rows) == 1 + shown.context["page_obj"].paginator.count
    assert observer.person.name in rows[1]
    none = page(url("season_visits_csv", program, since="2023", until="2023"))
    assert none.content.decode().splitlines() == rows[:1]


def test_coverage_names_who_surveys(program, observer, route, page):
    Assignment.objects.create(route=route, observer=observer.person, season_year=2024)
    named = page(url("season_coverage", program, year="2024")).content.decode()
    assert observer.person.name in table_rows_of(named)
    csv = page(url("season_coverage_csv", program, year="2024")).content.decode()
    assert csv.splitlines()[1].endswith(f",{observer.person.name}")
    other = page(url("season_coverage", program, year="2023")).content.decode()
    assert observer.person.name not in table_rows_of(other)


@pytest.mark.parametrize(
    ("query", "cell"),
    [
        ({"species": "anaxyrus-americanus"}, "1 1/3 , 1 of 3 stops"),
        ({"measure": "stops"}, "67% 2/3 , 2 of 3 stops"),
        ({"measure": "effort"}, "1 visit 1/1 , 1 of 1 windows done, 3 stops listened to"),
    ],
)
def test_measures_and_species_in_the_url(program, route, page, query, cell):
    (row,) = table_rows(page(url("seasons", program, since="2024", until="2024", **query)))
    assert row[1:] == [cell]


def test_cell_links_to_its_visits_and_they_to_the_visit(program, route, page):
    seasons = page(url("seasons", program, species="pseudacris-crucifer"))
    links = re.findall(r'class="season-cell" href="([^"]+)"', seasons.content.decode())
    link = next(link for link in links if "since=2024" in link)
    visits = page(link.replace("&amp;", "&"))
    (row,) = table_rows(visits)
    assert row[0] == "2 April 2024"
    assert row[6] == "1 of 3"
    detail = re.search(r'class="row-link" href="([^"]+)"', visits.content.decode()).group(1)
    assert page(detail).context["visit"].night == dt.date(2024, 4, 2)


@pytest.mark.parametrize("name", ["seasons", "season_coverage", "season_changed", "season_map"])
def test_stratum_filter(program, route, page, name):
    assert 'name="stratum"' not in page(url(name, program)).content.decode()
    Route.objects.filter(pk=route.pk).update(stratum="Upland", name="Above the dam")
    make_route(program, code="R08", stratum="Floodplain", name="Below the dam")
    text = page(url(name, program, stratum="Floodplain", year="2024")).content.decode()
    assert "Above the dam" not in text
    assert re.search(r'<option value="Floodplain"\s+selected', text)
    if name != "season_changed":
        assert "Below the dam" in text
    if name == "season_map":
        return
    rows = page(url(f"{name}_csv", program, stratum="Floodplain", year="2024")).content.decode()
    assert "R07" not in rows
    assert ("R08,,Floodplain," in rows) is (name != "season_changed")


def test_region_filter(program, route, page):
    make_route(program, code="R08", region="Uplands")
    rows = table_rows(page(url("seasons", program, region="Uplands")))
    assert [row[0] for row in rows] == ["R08 Heron Slough Loop"]


@pytest.mark.parametrize(
    "query",
    [
        {"species": "no-such-species"},
        {"since": "abc"},
        {"measure": "loudness"},
        {"since": "2024", "until": "2022"},
        {"page": "zzz"},
    ],
)
def test_invalid_filters_are_explained_and_ignored(program, route, page, query):
    response = page(url("seasons", program, **query))
    assert "R07" in response.content.decode()
    assert bool(response.context["form"].errors) == ("page" not in query)


def test_reversed_years_are_explained(program, route, page):
    response = page(url("seasons", program, since="2024", until="2022"))
    assert "This ends before season 2024" in response.content.decode()


def test_coverage_of_a_season(program, observer, route, page):
    make_accepted_visit(
        route,
        observer.person,
        night=dt.date(2023, 4, 2),
        state=VisitState.SUBMITTED,
        counts_in_trends=False,
    )
    cells = {
        year: table_rows(page(url("season_coverage", program, year=str(year))))[0][1]
        for year in (2022, 2023, 2024)
    }
    assert cells == {2022: "Done 1 visit", 2023: "In review 1 visit", 2024: "Done 1 visit"}


def test_coverage_without_a_year_shows_the_running_season(program, route, page):
    response = page(url("season_coverage", program))
    assert response.context["table"].season_year == response.context["form"].current
    years = [year for year, _ in response.context["form"].fields["year"].choices]
    # Years without a visit, too, up to the one that runs.
    assert years == list(range(years[0], 2021, -1))
    assert years[0] > 2024


def test_map_has_every_stop_with_its_highest_index(program, route, page):
    response = page(url("season_map", program, species="pseudacris-crucifer"))
    data = re.search(
        r'<script id="map-data" type="application/json">(.*?)</script>', response.content.decode()
    ).group(1)
    features = json.loads(data)["features"]
    assert features[0]["geometry"]["type"] == "LineString"
    sign, *stops = [feature["properties"] for feature in features[1:]]
    assert (sign["kind"], sign["index"]) == ("route", 3)
    assert sign["lines"][0] == "Calls at 1 of 3 stops"
    assert [(stop["number"], stop["index"]) for stop in stops] == [(1, 3), (2, 0), (3, 0)]
    assert stops[0]["lines"] == ["R07 Heron Slough Loop", "Surveyed 2 times"]


PAGES = ("seasons", "season_changed", "season_coverage", "season_map", "season_visits")


@pytest.mark.parametrize("name", PAGES)
def test_empty_program(program, page, name):
    assert page(url(name, program))


@pytest.mark.parametrize("name", PAGES)
def test_partners_and_strangers_may_not(program, partner, client_for, client, name):
    assert client_for(partner).get(url(name, program)).status_code == 403
    stranger = make_member(make_program())
    assert client_for(stranger).get(url(name, program)).status_code == 404
    assert client.get(url(name, program)).status_code == 302


@pytest.mark.parametrize("name", PAGES)
def test_number_of_queries_does_not_grow(
    program, route, observer, client_for, django_assert_num_queries, name
):
    client = client_for(observer)
    path = url(name, program)

    def count():
        with django_assert_num_queries(queries[name]):
            client.get(path)

    # Session, person, membership, then the page. The first visit also notes the program.
    client.get(path)
    queries = {
        "seasons": 17,
        "season_changed": 19,
        "season_coverage": 15,
        "season_map": 10,
        "season_visits": 9,
    }
    count()
    for number in range(5):
        other = make_route(program, code=f"X{number}", version=None, protocol=route.protocol)
        for year in (2022, 2023, 2024):
            make_accepted_visit(other, observer.person, night=dt.date(year, 4, 9))
    assert Route.objects.count() == 6
    count()
