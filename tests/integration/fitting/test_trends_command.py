"""`manage.py trends`."""

import csv
import datetime as dt
import io
import json

import pytest
from django.core.management import CommandError, call_command

from surveys.models import SpeciesFit
from tests.support.builders import (
    make_accepted_visit,
    make_checklist,
    make_route,
)

pytestmark = pytest.mark.django_db


@pytest.fixture
def species(program, observer):
    found = make_checklist(program, "Pseudacris crucifer", "Anaxyrus americanus")
    route = make_route(program, stops=4, region="North")
    for night in (dt.date(2023, 4, 2), dt.date(2024, 4, 2), dt.date(2024, 5, 2)):
        make_accepted_visit(route, observer.person, night=night, heard={1: {found[0]: 2}})
    return found


def run(*arguments):
    out = io.StringIO()
    call_command("trends", *arguments, stdout=out)
    return out.getvalue()


def test_csv_has_every_estimate_with_interval_and_flags(program, species):
    rows = list(csv.DictReader(io.StringIO(run(program.slug, "--csv"))))
    assert {row["species"] for row in rows} == {one.code for one in species}
    naive = next(
        row
        for row in rows
        if (row["species"], row["season_year"], row["what"])
        == (species[0].code, "2024", "naive occupancy")
    )
    # 1 of 4 stops. Wilson limits after Newcombe 1998, method 3:
    # (2·1 + 3.8415 ± 1.96·sqrt(3.8415 + 4·1·0.75)) / (2·(4 + 3.8415)).
    assert (naive["value"], naive["low"], naive["high"]) == ("0.2500", "0.0456", "0.6994")
    assert naive["interval"] == "wilson"
    for row in rows:
        assert row["value"] or row["flags"], row
    assert not SpeciesFit.objects.exists()


def test_json_of_one_species_by_route(program, species):
    found = json.loads(run(program.slug, "--species", species[0].code, "--site=route", "--json"))
    assert (found["site"], list(found["species"])) == ("route", [species[0].code])
    years = found["species"][species[0].code]["years"]
    assert [(year["season_year"], year["sites"], year["sites_heard"]) for year in years] == [
        (2023, 1, 1),
        (2024, 1, 1),
    ]


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["nowhere"], "There is no program “nowhere”. There are: {slug}"),
        (["{slug}", "--species", "rana-nova"], "Not on the checklist"),
        (["{slug}", "--region", "East"], "No visits in region “East”. Regions: North."),
    ],
)
def test_what_is_wrong_is_said(program, species, arguments, words):
    with pytest.raises(CommandError) as error:
        run(*(argument.format(slug=program.slug) for argument in arguments))
    assert words.format(slug=program.slug) in str(error.value)
