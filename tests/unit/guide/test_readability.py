"""Pages of the guide and texts of the screens read easily: Flesch-Kincaid grade 6 or lower."""

import json
import re
from collections import defaultdict
from pathlib import Path

import pytest

from surveys.guide.pages import ORDER, PAGES
from tests.support.readability import counts, grade, running_text, sentences_of
from tests.support.visible_texts import visible_texts

GUIDE = "surveys/guide/pages/"
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
    """Of `sources` only the sentences between the cited works are graded: with authors, titles and
    years, which are as their publishers wrote them, the page has grade 9 (December 2026)."""
    page = (PAGES / f"{slug}.md").read_text("utf-8")
    text = running_text(CITATION.sub("", page) if slug == "sources" else page)
    assert grade(text, species_names) <= GRADE


# The demo is invented, and its observers write as they please. The texts of the sources of the
# guide are its pages, graded above. What the API answers is for programs.
NOT_GRADED = ("surveys/demo/", GUIDE, "surveys/api/")
# A few sentences are too few for a grade of their own.
FEWEST = 8


def part_of(path):
    """The part of the program that a source belongs to: `surveys/web/review`, `accounts`."""
    folders = Path(path).parts[:-1]
    return folders[0] if folders[0] == "accounts" else "/".join(folders[:3])


@pytest.fixture(scope="module")
def sentences(texts):
    """Sentences of the sources by part. Labels of a word or two are no sentences."""
    parts = defaultdict(list)
    for text in texts:
        if not text.path.startswith(NOT_GRADED):
            is_sentence = len(text.text.split()) > 3 and text.text.endswith((".", "?"))
            parts[part_of(text.path)] += [text.text] if is_sentence else []
    few = [part for part, said in parts.items() if len(said) < FEWEST]
    parts["the rest"] = [text for part in few for text in parts.pop(part)]
    return parts


def test_grade_of_every_part_of_the_program(sentences, species_names):
    grades = {part: grade("\n".join(said), species_names) for part, said in sentences.items()}
    assert len(grades) > 25
    assert {"surveys/web/survey", "surveys/protocol/rules", "surveys/reminders"} < grades.keys()
    assert {part: found for part, found in grades.items() if found > GRADE} == {}


# A grade is an average, behind which one sentence that nobody can read could hide. The bounds are
# our own. A sentence of few words has the grade of its longest word, and so has none.
MOST_WORDS, HARDEST, FEWEST_GRADED = 32, 13.5, 10
CODE = re.compile(r"\b(?:SELECT|FROM|JOIN|WHERE|RAISE|GROUP BY|ORDER BY)\b|urllib|print\(|&lt;-")


def single_sentences(texts):
    """(where, sentence) of guide, screens and species."""
    for slug in ORDER:
        if slug != "sources":
            page = running_text((PAGES / f"{slug}.md").read_text("utf-8"))
            yield from ((slug, sentence) for sentence in sentences_of(page))
    for text in texts:
        if not text.path.startswith(NOT_GRADED) and not CODE.search(text.text):
            yield from ((text.where, sentence) for sentence in sentences_of(text.text))
    stored = json.loads((FIXTURES / "species.json").read_text("utf-8"))
    for table, column in (("species", "call"), ("species", "note"), ("look_alikes", "how")):
        for row in stored[table]:
            yield from ((column, sentence) for sentence in sentences_of(row.get(column) or ""))


def test_no_sentence_is_long_or_hard(texts, species_names):
    known = re.compile("|".join(map(re.escape, species_names)), re.IGNORECASE)
    tried, faults = 0, []
    for where, sentence in single_sentences(texts):
        names = known.findall(sentence)
        words = counts(sentence, names)[1]
        tried += 1
        hard = words >= FEWEST_GRADED and grade(sentence, names) > HARDEST
        if words > MOST_WORDS or hard:
            found = round(grade(sentence, names), 1)
            faults.append(f"{where}: {words} words, grade {found}: {sentence}")
    assert tried > 5000
    assert not faults, "\n".join(faults)


@pytest.mark.parametrize(
    ("table", "column"), [("species", "call"), ("species", "note"), ("look_alikes", "how")]
)
def test_grade_of_the_species_on_the_phone(table, column, species_names):
    rows = json.loads((FIXTURES / "species.json").read_text("utf-8"))[table]
    texts = [row[column].rstrip(".") + "." for row in rows if row.get(column)]
    assert len(texts) > 15
    assert grade("\n".join(texts), species_names) <= GRADE
