"""The species of fixtures/species.json."""

import json
import re
from pathlib import Path

import pytest

from surveys.protocol.plain import from_plain
from surveys.protocol.values import MonthDay

FILE = json.loads((Path(__file__).parents[3] / "fixtures" / "species.json").read_text("utf-8"))
SPECIES = FILE["species"]
CODES = [species["code"] for species in SPECIES]
REGIONS = {region["code"] for region in FILE["regions"]}


def test_codes_are_unique():
    assert len(CODES) == len(set(CODES)) >= 34


@pytest.mark.parametrize("species", SPECIES, ids=lambda species: species["code"])
def test_every_species_is_complete(species):
    assert species["code"] == species["scientific_name"].lower().replace(" ", "-")
    assert re.fullmatch(r"[A-Z][a-z]+ [a-z]+", species["scientific_name"])
    assert species["scientific_name"] not in species["synonyms"]
    assert species["common_name"]
    assert species["call"]
    for lowest, highest in species["peaks_hz"]:
        assert 100 <= lowest <= highest <= 6000
    regions = [calling["region"] for calling in species["calling"]]
    assert regions
    assert len(regions) == len(set(regions))
    assert set(regions) <= REGIONS
    assert set(species.get("introduced_in", [])) <= set(regions)
    for calling in species["calling"]:
        from_plain(MonthDay, calling["first"])
        from_plain(MonthDay, calling["last"])


def test_no_name_means_two_species():
    names = [
        name for species in SPECIES for name in (species["scientific_name"], *species["synonyms"])
    ]
    assert len(names) == len(set(names))


def test_joint_choices_are_made_of_listed_species():
    for complex_ in FILE["complexes"]:
        assert len(complex_["members"]) >= 2
        assert set(complex_["members"]) <= set(CODES)
