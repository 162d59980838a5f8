"""A program's own species in old files: by former names, split ones asked about, published."""

import csv
import io
import zipfile
from dataclasses import replace

import pytest
from django.urls import reverse

from surveys.importing.uploads import commit_upload
from surveys.models import CallIndex, Visit
from surveys.programs.checklist import Listing
from surveys.programs.own_species import Names, add_own_species, change_own_species
from surveys.publishing.formats import darwincore
from surveys.visits.verbs import accept
from tests.support.frozen import small_frozen

pytestmark = pytest.mark.django_db
REED = Names(
    scientific_name="Rappia lacustris", common_name="Lake reed frog", call="short dry click"
)
NORTH, SOUTH = (
    Names(scientific_name=f"Rappia {name}", common_name=name.title(), synonyms=("Rappia vaga",))
    for name in ("borealis", "australis")
)


def test_a_file_with_a_former_name_is_published_under_the_current_one(
    coordinator, attempt, tmp_path
):
    reed = add_own_species(coordinator, REED, Listing()).species
    change_own_species(
        coordinator, reed.code, replace(REED, scientific_name="Hyperolius lacustris")
    )
    # As the header of a column, and as a cell of one.
    wide = attempt("Route,Date,Stop,Start,End,Rappia lacustris\nR1,2024-04-15,1,21:00,21:05,2\n")
    long = "Route,Date,Stop,Start,End,Species,Index\nR2,2024-04-15,1,21:00,21:05,LAKE REED FROG,3\n"
    for tried in (wide, attempt(long)):
        assert tried.problems == []
        commit_upload(coordinator, tried.upload)
    heard = CallIndex.objects.filter(species=reed).values_list(
        "period__visit__route__code", "index"
    )
    assert set(heard) == {("R1", 2), ("R2", 3)}

    for visit in Visit.objects.all():
        visit.findings.all().delete()
        accept(coordinator, visit.pk, revision=visit.revision)
    frozen = small_frozen(tmp_path, results=False, program=coordinator.program)
    darwincore.write(frozen, tmp_path / "dwca.zip")
    with zipfile.ZipFile(tmp_path / "dwca.zip") as archive:
        rows = list(csv.DictReader(io.StringIO(archive.read("occurrence.csv").decode())))
    present = {
        (row["scientificName"], row["taxonRank"], row["genus"], row["vernacularName"])
        for row in rows
        if row["occurrenceStatus"] == "present"
    }
    assert present == {("Hyperolius lacustris", "species", "Hyperolius", "Lake reed frog")}


def test_a_name_that_was_split_is_asked_about(coordinator, attempt, client_for, program):
    codes = [
        add_own_species(coordinator, names, Listing()).species.code for names in (SOUTH, NORTH)
    ]
    text = "Route,Date,Stop,Start,End,Species,Index\nR1,2024-04-15,1,21:00,21:05,Rappia vaga,1\n"
    tried = attempt(text)
    (problem,) = tried.preview.problems
    assert "was split: today it is the name of several species" in problem.message
    assert problem.remedy == "Did you mean “Australis” or “Borealis”?"
    at = {"program": program.slug, "upload": tried.upload.row.pk}
    page = client_for(coordinator).get(reverse("web:import_preview", kwargs=at))
    (item,) = page.context["groups"][0].items
    assert [code for code, _ in item.options[0][1]] == codes
    # Which of them it was, nobody but the coordinator can say.
    assert item.suggested == ""
