"""The pages of a species over the years and of comparisons."""

import csv
import datetime as dt
import html
import io
import xml.etree.ElementTree as ET
from copy import deepcopy

import numpy as np
import pytest
from django.db import connection
from django.urls import reverse
from django.utils import timezone
from procrastinate.contrib.django.models import ProcrastinateJob

from accounts.models import Membership, Role
from surveys import dates
from surveys.fitting.refit import refit
from surveys.fitting.stamps import data_stamp
from surveys.fitting.stored import stored_fits
from surveys.models import (
    BackgroundRun,
    Program,
    RunKind,
    RunState,
    SpeciesFit,
    Visit,
)
from surveys.trends import CORRECTED_COLUMNS, FLAGS
from surveys.trends.choices import BY_ROUTE
from surveys.trends.estimates import JOINT_ENTRY_TOLD, NAMING_CHANGED
from surveys.visits.refitting import SUBJECT
from tests.support.builders import (
    make_accepted_visit,
    make_checklist,
    make_member,
    make_program,
    make_route,
)
from tests.support.joint_entries import TreefrogProgram, treefrog_program

pytestmark = pytest.mark.django_db
PEEPER = "pseudacris-crucifer"


@pytest.fixture(autouse=True)
def empty_queue(db):
    with connection.cursor() as cursor:
        cursor.execute("TRUNCATE procrastinate_jobs CASCADE")


@pytest.fixture(scope="module")
def surveyed(module_rows) -> Membership:
    """An observer of a program of three years in two regions, fitted; who calls is drawn once."""
    rng = np.random.default_rng(2)
    observer = make_member(make_program(), Role.OBSERVER)
    program = observer.program
    peeper, _ = make_checklist(program, "Pseudacris crucifer", "Anaxyrus americanus")
    for region in ("North", "South"):
        route = make_route(program, stops=6, region=region)
        for year in (2022, 2023, 2024):
            for month in (4, 5):
                heard = {n: {peeper: 2} for n in range(1, 5) if rng.random() < 0.6}
                make_accepted_visit(
                    route, observer.person, night=dt.date(year, month, 2), heard=heard
                )
    refit(program)
    return observer


@pytest.fixture
def observer(surveyed, db) -> Membership:
    return deepcopy(surveyed)


@pytest.fixture
def program(observer) -> Program:
    return observer.program


@pytest.fixture(scope="module")
def treefrogs(module_rows) -> tuple[TreefrogProgram, Membership]:
    """A program, and a partner of it. Of the last of three years, every record is of the joint
    entry."""
    world = treefrog_program(unnamed=1.0, unnamed_year=2024)
    refit(world.program)
    return world, make_member(world.program, Role.PARTNER)


@pytest.fixture
def partner_of_treefrogs(treefrogs, db) -> tuple[TreefrogProgram, Membership]:
    return deepcopy(treefrogs)


def url(program, name="trend_species", query=None, **kwargs):
    if name in ("trend_species", "trend_chart", "trend_species_csv", "trend_species_checks"):
        kwargs = {"code": PEEPER, **kwargs}
    return reverse(f"web:{name}", kwargs={"program": program.slug, **kwargs}, query=query)


def text_of(response):
    return html.unescape(response.content.decode()).replace("\N{NO-BREAK SPACE}", " ")


def fits_waiting():
    return ProcrastinateJob.objects.filter(queue_name="fits", status="todo").count()


def test_page_shows_the_stored_numbers(program, partner, client_for):
    text = text_of(client_for(partner).get(url(program)))
    (fit,) = [one for one in stored_fits(program) if one.species.code == PEEPER]
    for year in fit.result.years:
        assert f'<th scope="row">{year.season_year}</th>' in text
        assert f"{100 * year.naive.value:.0f}% (" in text
    assert "Full chorus: no trend is reported, because it was never heard." in text
    assert fit.sha256 in text
    assert fit.software in text
    with dates.using(program.date_style):
        assert f"Calculated on {dates.moment(fit.fitted_at)} with" in text
    assert "Being recalculated" not in text
    assert reverse("web:guide_page", kwargs={"slug": "trend-method"}) in text
    assert "Share of stops with Pseudacris crucifer in each season, 2022 to 2024." in text
    assert fits_waiting() == 0


def test_the_whole_program_is_told_with_the_weights_of_its_regions_or_why_not(
    program, partner, client_for
):
    text = text_of(client_for(partner).get(url(program)))
    assert "Nothing is reported for the whole program, because its regions have no weights." in text
    assert "Weights of regions" not in text
    program.region_weights = {"North": 1.0, "South": 2.0}
    program.save()
    refit(program)
    text = text_of(client_for(partner).get(url(program)))
    assert "because a region has fewer than 4 routes." in text
    assert "too few routes in a region" in text
    _of_whole(program)
    page = client_for(partner).get(url(program))
    assert "the share of occupied stops fell by 4.0% per year" in text_of(page)
    assert '<th scope="col">Whole program</th>' in text_of(page)
    assert "31% (20 to 44%)" in text_of(page)
    north = text_of(client_for(partner).get(url(program, query={"region": "North"})))
    assert "whole program" not in north


def test_what_it_takes_to_see_a_fall_stands_under_the_change(program, partner, client_for):
    assert "more seasons" not in text_of(client_for(partner).get(url(program)))
    fit = program.fits.get(species__code=PEEPER, site="stop", region="")
    fit.result["trend"]["occupancy"] |= {"value": -2.0, "low": -5.0, "high": 1.0, "flags": []}
    fit.result["trend"]["needed"] = {
        "percent": -3.0, "aim": 0.8, "chance": 0.31,
        "years": 7, "routes": 12, "years_low": 4, "years_high": 11,
    }  # fmt: skip
    fit.save()
    text = text_of(client_for(partner).get(url(program)))
    assert "it takes about 7 more seasons with these routes (4 to 11," in text
    assert "Or it would have taken about 12 more routes" in text


def _of_whole(program):
    """As if each region had routes enough."""
    fit = program.fits.get(species__code=PEEPER, site="stop", region="")
    kind = {"name": "", "interval": "t", "method": "", "flags": [], "se": None, "level": 0.95}
    fit.result["whole"] = {
        "change": {**kind, "value": -4.0, "low": -6.0, "high": -2.0},
        "shares": [[2023, {**kind, "value": 0.31, "low": 0.2, "high": 0.44}]],
    }
    fit.save()


def test_site_and_region_come_from_the_address(program, partner, client_for):
    text = text_of(
        client_for(partner).get(url(program, query={"site": "route", "region": "North"}))
    )
    assert "Share of routes in North with the species in each season." in text
    assert '<td data-label="Surveyed" class="num">1</td>' in text
    assert "region=North" in text


def test_stale_results_are_marked_and_the_worker_is_asked(program, partner, client_for):
    visit = Visit.objects.filter(route__program=program).first()
    visit.revision += 1
    visit.save()
    client = client_for(partner)
    for name, words in (
        ("trend_species", "Being recalculated."),
        ("trend_compare", "Being recalculated."),
        ("trends", "being recalculated"),
    ):
        assert words in text_of(client.get(url(program, name)))
    assert fits_waiting() == 1


def test_before_the_first_fit(program, partner, client_for):
    SpeciesFit.objects.all().delete()
    text = text_of(client_for(partner).get(url(program)))
    assert "Being calculated." in text
    assert "No result yet" in text
    assert fits_waiting() == 1
    assert client_for(partner).get(url(program, "trend_chart", form="svg")).status_code == 404


def test_progress_of_the_run_is_shown(program, partner, client_for):
    SpeciesFit.objects.all().delete()
    run = BackgroundRun.objects.create(
        kind=RunKind.FIT,
        program=program,
        subject=SUBJECT,
        state=RunState.RUNNING,
        result={"data_stamp": data_stamp(program)},
        done=5,
        total=12,
        started_at=timezone.now(),
    )
    text = text_of(client_for(partner).get(url(program)))
    assert "5 of 12 results are done." in text
    # That run is on today's data, so no other is asked for.
    assert fits_waiting() == 0
    run.started_at = dt.datetime(2024, 1, 1, tzinfo=dt.UTC)
    run.save()
    assert "results are done" not in text_of(client_for(partner).get(url(program)))
    assert fits_waiting() == 1


def test_picture_is_the_same_on_the_page_and_as_a_file(program, partner, client_for):
    client = client_for(partner)
    shown = client.get(url(program, "trend_chart", form="svg"))
    kept = client.get(url(program, "trend_chart", form="svg", query={"download": "1"}))
    assert shown.content == kept.content
    assert ET.fromstring(shown.content).tag.endswith("svg")
    assert shown["Content-Type"] == "image/svg+xml"
    assert shown["Content-Disposition"].startswith("inline")
    assert kept["Content-Disposition"].startswith(f'attachment; filename="{program.slug}-')
    again = client.get(
        url(program, "trend_chart", form="svg"), headers={"if-none-match": shown["ETag"]}
    )
    assert again.status_code == 304
    png = client.get(url(program, "trend_chart", form="png"))
    assert png.content.startswith(b"\x89PNG")


def test_numbers_as_csv(program, partner, client_for):
    response = client_for(partner).get(url(program, "trend_species_csv"))
    header, *rows = csv.reader(io.StringIO(response.content.decode(), newline=""))
    assert header == [column.name for column in CORRECTED_COLUMNS]
    assert [row[:2] for row in rows] == [
        ["Pseudacris crucifer", str(year)] for year in (2022, 2023, 2024)
    ]
    (fit,) = [one for one in stored_fits(program) if one.species.code == PEEPER]
    assert rows[0][2] == f"{fit.result.years[0].occupancy.value:.4f}"


def test_glance_links_to_every_species(program, partner, client_for):
    text = text_of(client_for(partner).get(url(program, "trends")))
    for code in (PEEPER, "anaxyrus-americanus"):
        assert url(program, code=code) in text
    text = text_of(client_for(partner).get(url(program, "trends", query={"region": "North"})))
    assert url(program, query={"region": "North"}) in text


@pytest.mark.parametrize(
    ("query", "words"),
    [
        ({}, ["Pseudacris crucifer", "Anaxyrus americanus", "Corrected for detection"]),
        ({"by": "region", "species": PEEPER}, ["All regions", "North", "South"]),
        ({"by": "route", "species": PEEPER}, ["uncorrected shares of stops"]),
        ({"by": "nonsense", "site": "pond", "species": "dragon"}, ["is not one of the choices"]),
    ],
)
def test_compare(program, observer, client_for, query, words):
    client = client_for(observer)
    text = text_of(client.get(url(program, "trend_compare", query=query)))
    for word in words:
        assert word in text
    picture = client.get(url(program, "trend_compare_chart", form="svg", query=query))
    assert ET.fromstring(picture.content).tag.endswith("svg")


def test_too_many_to_tell_apart(program, observer, client_for):
    names = [f"Rana number{n}" for n in range(7)]
    codes = [one.code for one in make_checklist(program, *names)]
    text = text_of(
        client_for(observer).get(url(program, "trend_compare", query={"species": codes}))
    )
    assert "You chose 7. Choose at most 6, so that the lines stay readable." in text


def test_routes_are_for_those_who_read_the_seasons(program, partner, client_for):
    """A partner is told no route by route, as on Seasons."""
    query = {"by": "route", "species": PEEPER}
    text = text_of(client_for(partner).get(url(program, "trend_compare", query=query)))
    assert "uncorrected shares of stops" not in text
    assert not any(route.code in text for route in program.routes.all())


def test_strangers_and_other_programs(program, client_for, client):
    stranger = make_member(make_program())
    for name, kwargs in (("trend_species", {}), ("trend_chart", {"form": "svg"})):
        address = url(program, name, **kwargs)
        assert client.get(address).status_code == 302
        assert client_for(stranger).get(address).status_code == 404
        own = url(stranger.program, name, **kwargs)
        assert client_for(stranger).get(own).status_code == 404


@pytest.mark.parametrize("name", ["trend_species", "trend_compare"])
def test_query_count_does_not_grow(program, observer, client_for, django_assert_num_queries, name):
    client = client_for(observer)
    client.get(url(program, name))
    queries = {"trend_species": 14, "trend_compare": 11}[name]
    with django_assert_num_queries(queries):
        client.get(url(program, name))
    make_accepted_visit(program.routes.first(), observer.person, night=dt.date(2021, 4, 2))
    refit(program)
    with django_assert_num_queries(queries):
        client.get(url(program, name))


def test_the_page_and_its_file_tell_the_trend_under_other_choices(program, partner, client_for):
    client = client_for(partner)
    text = text_of(client.get(url(program)))
    assert "Under other choices" in text
    # Three seasons tell no trend, so there is nothing to check.
    assert "No trend is reported, so there is nothing to check." in text
    assert url(program, "trend_species_checks", query={"site": "stop"}) in text
    header, first, *rows = (
        client.get(url(program, "trend_species_checks")).content.decode().split("\r\n")
    )
    assert header.startswith("species,site,number,choice,applies,change,")
    assert first.startswith("Pseudacris crucifer,stop,1,all-data,")
    assert "too-few-data" in first
    assert len([row for row in rows if row]) == 10


def test_other_choices_are_for_all_regions_together_and_the_page_says_so(
    program, partner, client_for
):
    client = client_for(partner)
    of_region = " ".join(text_of(client.get(url(program, query={"region": "North"}))).split())
    assert "Other choices are tried for all regions together only." in of_region
    assert "Under other choices" not in of_region
    of_all = " ".join(text_of(client.get(url(program))).split())
    assert "for all regions together only" not in of_all


def test_turnover_stands_on_the_page_only_where_detection_is_known(program, partner, client_for):
    """Without it, a species that was missed cannot be told from one that left: one truth a page."""
    fit = SpeciesFit.objects.get(program=program, region="", site="stop", species__code=PEEPER)
    known = fit.result["trend"]["occupancy"] | {"value": 0.2, "low": 0.1, "high": 0.4, "flags": []}
    parts = ("colonization", "extinction", "equilibrium")
    fit.result["turnover"] = dict.fromkeys(parts, known)
    client = client_for(partner)
    unknown = known | {"value": None, "low": None, "high": None, "flags": ["no-repeat-visits"]}
    pages = []
    for detection in (known, unknown):
        for year in fit.result["years"]:
            year["detection"] = detection
        fit.save()
        pages.append(text_of(client.get(url(program))))
    told, silent = pages
    assert "Turnover" in told
    assert "An empty site is colonized" in told
    assert "Turnover" not in silent
    assert "is colonized" not in silent
    assert "not enough data" in silent


def test_an_open_season_is_told_on_page_and_list(program, partner, client_for):
    """The flag comes with the stored result, whatever day it is."""
    for fit in SpeciesFit.objects.filter(program=program, region="", site="stop"):
        if fit.result["years"]:
            fit.result["years"][-1]["occupancy"]["flags"] = ["open-season"]
            fit.data_sha256 = fit.data_sha256[::-1]  # Pictures are kept by it.
            fit.save()
    client = client_for(partner)
    text = text_of(client.get(url(program)))
    assert "Hollow marks: 2024, a season that is still open." in text
    assert "The survey windows of this season are not over. It is not in the trend." in text
    assert "season still open" in text_of(client.get(url(program, "trends")))
    assert ">open<" in client.get(url(program, "trend_chart", form="svg")).content.decode()


def test_by_stop_and_by_route_are_shown_on_both_pages_where_they_disagree(
    program, partner, client_for
):
    fit = SpeciesFit.objects.get(program=program, region="", site="stop", species__code=PEEPER)
    fall = {"value": -4.0, "low": -6.0, "high": -2.0, "flags": []}
    for line in fit.result["sensitivity"]:
        line["change"] |= fall
    by_route = next(line for line in fit.result["sensitivity"] if line["name"] == BY_ROUTE)
    by_route["change"] |= {"low": -9.0, "high": 1.0}
    fit.save()
    client = client_for(partner)
    for site in ("stop", "route"):
        text = text_of(client.get(url(program, query={"site": site})))
        assert "The trend by stop and the trend by route disagree." in " ".join(text.split())
        assert "-9.0 to +1.0" in text.replace("\N{MINUS SIGN}", "-")


def test_the_pages_of_a_group_say_which_of_them_is_told(partner_of_treefrogs, client_for):
    """Fewer than 80% of the records name a species: the joint entry is told, the species stays
    within reach and says why it is not."""
    world, partner = partner_of_treefrogs
    client = client_for(partner)
    joint, gray = (
        text_of(client.get(url(world.program, code=species.code)))
        for species in (world.either, world.gray)
    )
    named, records = len(world.heard - world.joint), len(world.heard)
    words = f"{named} of the {records} records of this group ({100 * named / records:.0f}%) name"
    for page in (joint, gray):
        assert words in page
        assert "so the joint entry is reported" in page
        assert FLAGS[NAMING_CHANGED] in page
    assert "Read instead:" in gray
    assert "Read instead:" not in joint
    assert url(world.program, code=world.either.code) in gray
    assert "no trend is reported here, because fewer than 80%" in gray
    assert "no trend is reported here" not in joint
    assert FLAGS[JOINT_ENTRY_TOLD] in gray


def test_lists_and_files_flag_what_is_not_told(partner_of_treefrogs, client_for):
    world, partner = partner_of_treefrogs
    client = client_for(partner)
    page = text_of(client.get(url(world.program, "trends")))
    glance = page[page.index("Species at a glance") : page.index("Yearly table")]
    rows = {row.split("</a>")[0]: row for row in glance.split('<a class="row-link"')[1:]}
    (gray,) = [row for head, row in rows.items() if head.endswith(world.gray.common_name)]
    assert "joint entry reported instead" in gray
    lines = list(
        csv.DictReader(
            io.StringIO(client.get(url(world.program, "trends_csv")).content.decode(), newline="")
        )
    )
    flags = {(line["species"], line["season_year"]): line["flags"] for line in lines}
    assert "joint-entry-told" in flags[world.gray.scientific_name, "2022"]
    assert "joint-entry-told" not in flags[world.either.scientific_name, "2022"]
    assert "naming-changed" in flags[world.either.scientific_name, "2022"]
    assert "few-named" in flags[world.gray.scientific_name, "2024"]
    (line,) = [
        line
        for line in lines
        if (line["species"], line["season_year"]) == (world.gray.scientific_name, "2024")
    ]
    assert line["naive_occupancy"] == ""
    response = client.get(reverse("api:trends", kwargs={"program": world.program.slug}))
    told = {(row["species"], row["season_year"]): row["flags"] for row in response.json()["rows"]}
    assert told == {(species, int(year)): text for (species, year), text in flags.items()}
    years = client.get(url(world.program, "trend_species_csv", code=world.gray.code))
    for line in csv.DictReader(io.StringIO(years.content.decode(), newline="")):
        assert "joint-entry-told" in line["flags"]
