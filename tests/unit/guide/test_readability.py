"""Pages of the guide and texts of the screens read easily: Flesch-Kincaid grade 6 or lower."""

import json
import re
from pathlib import Path

import pytest

from surveys.guide.pages import ORDER, PAGES
from tests.support.readability import grade, running_text
from tests.support.visible_texts import visible_texts

FIXTURES = Path(__file__).parents[3] / "fixtures"
GRADE = 6.0
# Authors, titles and years of published works are no running text: an item with a year cites one.
CITATION = re.compile(r"(?m)^- .*\b(?:1[89]|20)\d\d\b.*$")


@pytest.fixture(scope="module")
def species_names():
    species = json.loads((FIXTURES / "species.json").read_text("utf-8"))["species"]
    return [row["common_name"] for row in species]


@pytest.fixture(scope="module")
def texts():
    return list(visible_texts())


def test_every_page_is_graded():
    assert {page.stem for page in PAGES.glob("*.md")} == set(ORDER)


@pytest.mark.parametrize("slug", ORDER)
def test_grade_of_a_page(slug, species_names):
    page = (PAGES / f"{slug}.md").read_text("utf-8")
    text = running_text(CITATION.sub("", page) if slug == "sources" else page)
    assert grade(text, species_names) <= GRADE


def sentences_of(texts, part):
    """Sentences of the sources under a path. Labels of a word or two are no sentences."""
    return [
        text.text
        for text in texts
        if part in text.path and len(text.text.split()) > 3 and text.text.endswith((".", "?"))
    ]


@pytest.mark.parametrize(
    "part",
    [
        # The phone, the findings it shows, and Tonight.
        "web/survey/static/survey/",
        "web/survey/templates/",
        "protocol/rules/",
        "protocol/sentences/",
        "guide/cautions.py",
        "web/tonight/",
        # The desk.
        "accounts/",
        "charts/",
        "importing/",
        "operations/",
        "programs/",
        "publishing/",
        "visits/",
        "web/importing/",
        "web/operations/",
        "web/people/",
        "web/power/",
        "web/program/",
        "web/publications/",
        "web/published/",
        "web/recordings/",
        "web/review/",
        "web/route_import/",
        "web/seasons/",
        "web/sharing/",
        "web/sheets/",
        "web/stations/",
        "web/templates/",
        "web/tokens/",
        "web/trends/",
        "web/wetlands/",
    ],
)
def test_grade_of_the_screens(part, texts, species_names):
    sentences = sentences_of(texts, part)
    assert len(sentences) > 2
    assert grade("\n".join(sentences), species_names) <= GRADE
