"""The species catalog in the database, and what a second load of it changes."""

import datetime as dt
import json

import pytest
from django.db import IntegrityError, transaction

from surveys.demo.catalog import load_species
from surveys.demo.truths import FIXTURES, read_truths
from surveys.models import (
    CallingRegion,
    ChecklistEntry,
    LookAlikes,
    Species,
    SpeciesInRegion,
)
from surveys.protocol.seasons import in_days, window_of
from surveys.protocol.values import MonthDay
from tests.support.builders import make_program, make_species

pytestmark = pytest.mark.django_db
FILE = json.loads((FIXTURES / "species.json").read_text("utf-8"))


def counts():
    models = (Species, CallingRegion, SpeciesInRegion, LookAlikes, LookAlikes.members.through)
    return [model.objects.count() for model in models]


def test_a_second_load_changes_nothing():
    first = load_species()
    assert first.added == len(FILE["species"]) + len(FILE["complexes"])
    there = counts()
    again = load_species()
    assert (again.added, again.updated, again.kept) == (0, 0, first.added)
    assert counts() == there
    assert there[2] == sum(
        len(species["calling"]) + len(species.get("lives_in", [])) for species in FILE["species"]
    )


def test_what_the_file_says_of_a_species():
    load_species()
    frog = Species.objects.get(code="lithobates-sylvaticus")
    assert frog.note == "calls for about two weeks at one wetland, often by day"
    here = frog.in_regions.get(region__code="northeast")
    season = (MonthDay(month=3, day=1), MonthDay(month=5, day=20))
    assert (here.calling_season, here.mark, here.is_introduced) == (season, "sure", False)
    bullfrog = SpeciesInRegion.objects.get(
        species__code="lithobates-catesbeianus", region__code="hawaii"
    )
    assert (bullfrog.calling_season, bullfrog.is_introduced) == (None, True)


def test_an_older_catalog_is_brought_up_to_date():
    """Rows as an earlier release wrote them."""
    peeper = make_species("Pseudacris crucifer", "Peeper of the marsh")
    Species.objects.filter(pk=peeper.pk).update(
        peak_hz="2800", call="a whistle", synonyms=["Hyla crucifer", "Hyla pickeringii"]
    )
    regilla = make_species("Pseudacris regilla")
    Species.objects.filter(pk=regilla.pk).update(synonyms=["Hyla regilla", "Pseudacris sierra"])
    loaded = load_species()
    assert loaded.updated == 2
    peeper.refresh_from_db()
    assert peeper.common_name == "Peeper of the marsh", "observers know it by this name"
    assert peeper.peak_hz == "2500-3100"
    assert peeper.call.startswith("single clear whistle")
    assert peeper.synonyms == ["Hyla crucifer", "Hyla pickeringii"]
    assert peeper.in_regions.filter(region__code="upper-midwest", mark="sure").exists()
    regilla.refresh_from_db()
    assert "Hyla regilla" in regilla.synonyms
    assert "Pseudacris sierra" not in regilla.synonyms, "it is a species of its own now"


def test_a_season_that_was_corrected_follows_the_file():
    load_species()
    row = SpeciesInRegion.objects.filter(species__code="pseudacris-ornata")
    row.update(calls_from_month=12, calls_from_day=10, mark="unsure")
    LookAlikes.objects.filter(code="spadefoots").update(how="No idea.")
    load_species()
    assert row.get().calling_season[0] == MonthDay(month=11, day=1)
    assert row.get().mark == "sure"
    assert LookAlikes.objects.get(code="spadefoots").how != "No idea."


def test_checklists_stay():
    upland = make_species("Pseudacris feriarum")
    program = make_program()
    entry = ChecklistEntry.objects.create(
        program=program,
        species=upland,
        calls_from_month=2,
        calls_from_day=1,
        calls_to_month=3,
        calls_to_day=31,
    )
    load_species()
    entry.refresh_from_db()
    assert entry.calling_season == (MonthDay(month=2, day=1), MonthDay(month=3, day=31))


@pytest.mark.parametrize(
    "wrong",
    [
        {"calls_from_month": 2, "calls_from_day": 30, "calls_to_month": 3, "calls_to_day": 1},
        {"calls_from_month": 2, "calls_from_day": 3},
        {"mark": "certain"},
    ],
    ids=["no such day", "one end", "unknown mark"],
)
def test_the_database_refuses_what_is_no_season(wrong):
    load_species()
    row = SpeciesInRegion.objects.filter(species__code="scaphiopus-holbrookii").first()
    with transaction.atomic(), pytest.raises(IntegrityError):
        SpeciesInRegion.objects.filter(pk=row.pk).update(
            **{**dict.fromkeys(SEASON_COLUMNS), **wrong}
        )


SEASON_COLUMNS = ("calls_from_month", "calls_from_day", "calls_to_month", "calls_to_day")


def test_the_ornate_chorus_frog_of_the_demo_calls_as_the_catalog_says():
    """One season on the list of the catalog, in the demo and in the windows of its protocol."""
    load_species()
    truth = next(p for p in read_truths().programs if p.slug == "saltgrass-winter")
    demo = next(species for species in truth.species if species.code == "pseudacris-ornata")
    catalog = SpeciesInRegion.objects.get(
        species__code=demo.code, region__code=truth.calling_region
    )
    assert demo.season == catalog.calling_season
    night = dt.date(2025, 11, 28)
    assert window_of(night, truth.protocol_on(night)).name == "First rains"
    assert in_days(night, *demo.season)
