"""The species of fixtures/species.json."""

import json
import re
from pathlib import Path

import pytest

from surveys.protocol.plain import from_plain
from surveys.protocol.values import MonthDay
from tests.support.for_each import for_each

FILE = json.loads((Path(__file__).parents[3] / "fixtures" / "species.json").read_text("utf-8"))
SPECIES = FILE["species"]
CODES = [species["code"] for species in SPECIES]
REGIONS = {region["code"] for region in FILE["regions"]}
CANADA = {"british-columbia", "prairie-provinces", "ontario-quebec", "atlantic-canada"}
MARKS = {"sure", "fairly sure", "unsure"}
# Hearing of a young adult ends at about 20 kHz, of many surveyors far below (from memory).
LOWEST_HZ, HIGHEST_HZ = 100, 8000


def test_codes_are_unique():
    assert len(CODES) == len(set(CODES)) >= 109


def test_regions_cover_the_united_states_and_canada():
    assert len(FILE["regions"]) == len(REGIONS) >= 16
    assert {"alaska-northern-territories", "hawaii", *CANADA} <= REGIONS


@for_each("species", SPECIES, lambda species: species["code"])
def test_every_species_is_complete(species):
    assert species["code"] == species["scientific_name"].lower().replace(" ", "-")
    assert re.fullmatch(r"[A-Z][a-z]+ [a-z]+", species["scientific_name"])
    assert species["scientific_name"] not in species["synonyms"]
    assert species["common_name"]
    assert 0 < len(species["call"]) <= 200
    assert len(species.get("note", "")) <= 200
    for lowest, highest in species["peaks_hz"]:
        assert LOWEST_HZ <= lowest < highest <= HIGHEST_HZ, "a band, no single number"


@for_each("species", SPECIES, lambda species: species["code"])
def test_every_season_lies_in_a_region_and_has_a_mark(species):
    regions = [calling["region"] for calling in species["calling"]]
    assert len(regions) == len(set(regions))
    assert set(regions) <= REGIONS
    assert set(species.get("introduced_in", [])) <= set(regions)
    for calling in species["calling"]:
        assert calling["mark"] in MARKS
        assert ("first" in calling) == ("last" in calling), "both ends, or any time"
        if "first" in calling:
            assert from_plain(MonthDay, calling["first"]) != from_plain(MonthDay, calling["last"])


@for_each("species", SPECIES, lambda species: species["code"])
def test_a_species_calls_somewhere_or_is_silent(species):
    assert bool(species["calling"]) != species.get("silent", False)
    if species.get("silent"):
        assert species["lives_in"]
        assert set(species["lives_in"]) <= REGIONS
        assert not species["peaks_hz"]


def test_no_name_means_two_species():
    names = [
        name for species in SPECIES for name in (species["scientific_name"], *species["synonyms"])
    ]
    assert len(names) == len(set(names))
    common = [species["common_name"] for species in SPECIES]
    assert len(common) == len(set(common))


@pytest.mark.parametrize("kind", ["complexes", "look_alikes"])
def test_groups_are_made_of_listed_species(kind):
    groups = FILE[kind]
    assert len({group["code"] for group in groups}) == len(groups)
    for group in groups:
        members = group["members"]
        assert len(members) == len(set(members))
        assert set(members) <= set(CODES)
        assert len(members) + len(group.get("other_sounds", [])) >= 2


def test_a_joint_entry_has_several_members_and_its_calls_fit():
    calls = {species["code"]: species["call"] for species in SPECIES}
    for joint in FILE["complexes"]:
        assert len(joint["members"]) >= 2
        assert len("; ".join({calls[code]: None for code in joint["members"]})) <= 200


def test_look_alikes_say_how_they_differ():
    assert all(group["name"] and group["how"].endswith(".") for group in FILE["look_alikes"])


# What a surveyor of these regions corrected in an earlier list, with how sure they were; common
# practice, no source. Each line: species, region, first, last (or any), mark.
CORRECTED = """
lithobates-sylvaticus upper-midwest 03-01 05-20 sure
lithobates-sylvaticus northeast 03-01 05-20 sure
pseudacris-crucifer upper-midwest 03-01 06-15 sure
pseudacris-crucifer northeast 03-01 06-15 sure
pseudacris-crucifer southeast-coastal-plain 11-15 03-31 fairly sure
pseudacris-maculata upper-midwest 03-01 06-20 fairly sure
pseudacris-feriarum northeast 02-15 04-30 fairly sure
anaxyrus-americanus upper-midwest 03-15 06-30 fairly sure
anaxyrus-americanus northeast 03-15 06-30 fairly sure
anaxyrus-fowleri northeast 04-20 08-15 fairly sure
dryophytes-chrysoscelis southeast-coastal-plain 03-01 08-31 fairly sure
acris-crepitans northeast 04-15 08-15 fairly sure
lithobates-septentrionalis upper-midwest 05-25 08-10 fairly sure
lithobates-septentrionalis northeast 05-25 08-10 fairly sure
lithobates-catesbeianus upper-midwest 05-15 08-31 sure
lithobates-catesbeianus northeast 05-15 08-31 sure
scaphiopus-holbrookii southeast-coastal-plain any sure
scaphiopus-holbrookii northeast 04-01 09-30 fairly sure
lithobates-sphenocephalus southeast-coastal-plain any fairly sure
anaxyrus-terrestris southeast-coastal-plain 02-01 10-31 sure
dryophytes-gratiosus southeast-coastal-plain 03-15 09-30 fairly sure
dryophytes-cinereus southeast-coastal-plain 03-15 09-30 fairly sure
dryophytes-squirellus southeast-coastal-plain 03-15 09-30 fairly sure
lithobates-capito southeast-coastal-plain 10-01 04-30 sure
pseudacris-ornata southeast-coastal-plain 11-01 03-31 sure
spea-hammondii pacific-coast 10-15 05-31 fairly sure
anaxyrus-boreas pacific-coast 02-01 08-15 fairly sure
""".strip().splitlines()


@pytest.mark.parametrize("line", CORRECTED)
def test_seasons_as_corrected(line):
    code, region, *season = line.split(" ", 3) if " any " in line else line.split(" ", 4)
    calling = next(
        calling
        for species in SPECIES
        if species["code"] == code
        for calling in species["calling"]
        if calling["region"] == region
    )
    days = [calling["first"], calling["last"]] if "first" in calling else ["any"]
    assert [*days, calling["mark"]] == season


@pytest.mark.parametrize(
    ("code", "region"),
    [
        ("pseudacris-triseriata", "northeast"),
        ("anaxyrus-fowleri", "upper-midwest"),
        ("dryophytes-chrysoscelis", "northeast"),
    ],
)
def test_species_that_were_missing_in_a_region(code, region):
    """Common practice, no source."""
    species = next(species for species in SPECIES if species["code"] == code)
    assert region in [calling["region"] for calling in species["calling"]]


@pytest.mark.parametrize("code", ["dryophytes-versicolor", "dryophytes-chrysoscelis"])
def test_pulse_rates_are_told_with_the_temperature(code):
    """A rate without a temperature means nothing; common practice, no source."""
    species = next(species for species in SPECIES if species["code"] == code)
    assert re.search(r"\d+ to \d+ .*a second at 15 to 25 °C", species["call"])
