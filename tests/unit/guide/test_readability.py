"""Pages of the guide read easily: Flesch-Kincaid grade 6 or lower."""

import json
from pathlib import Path

import pytest

from surveys.guide.pages import ORDER, PAGES
from tests.support.readability import grade, running_text

FIXTURES = Path(__file__).parents[3] / "fixtures"
GRADE = 6.0
# Titles of published works and names of their authors are no running text.
PROSE = [slug for slug in ORDER if slug != "sources"]


@pytest.fixture(scope="module")
def species_names():
    species = json.loads((FIXTURES / "species.json").read_text("utf-8"))["species"]
    return [row["common_name"] for row in species]


@pytest.mark.parametrize("slug", PROSE)
def test_grade_of_a_page(slug, species_names):
    text = running_text((PAGES / f"{slug}.md").read_text("utf-8"))
    assert grade(text, species_names) <= GRADE
