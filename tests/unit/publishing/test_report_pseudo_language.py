"""The report in a language that nobody speaks: what is not marked for translation shows."""

import pytest

from surveys.guide.pages import guide_page
from surveys.publishing.formats import report
from surveys.publishing.frozen import Frozen
from surveys.publishing.tables import TABLES
from tests.support.frozen_rows import freeze_rows
from tests.support.pseudo import INTERNATIONAL, in_pseudo_language, unmarked_in, words_of
from tests.unit.publishing.test_report import FALLING, METHOD, NAMES, rows

# Frozen with the publication, in the language that it was made in.
LIMITS = (
    "Listening time", "5 min", "Wind", "at most Beaufort 3", "Early: 5 April to 30 April",
    "Listening radius", "100 m; calls are near or far",
)  # fmt: skip
RUN = {"species": FALLING, "runs": 200, "fell": 4, "rose": 6,
       "false_alarms": 0.05, "false_alarms_low": 0.027, "false_alarms_high": 0.09}  # fmt: skip


@pytest.fixture(scope="module")
def frozen(tmp_path_factory) -> Frozen:
    tables = {**rows(), "null_runs": [RUN]}
    return freeze_rows(tmp_path_factory.mktemp("frozen"), tables, method=METHOD)


def data_of(frozen: Frozen) -> set[str]:
    """Whole texts that the report only passes on."""
    about = frozen.about
    made, *sections = report._sections(METHOD)
    tables = [frozen.folder / table.file for table in TABLES]
    return {
        *(about.program, about.license_url, about.citation, about.url),
        *NAMES,
        *NAMES.values(),
        *(f"{name}, {about.program}" for name in NAMES.values()),
        *made[1],
        *(text for heading, sentences in sections for text in (heading, *sentences)),
        *LIMITS,
        *(table.file for table in TABLES),
        *map(report._sha256, tables),
    }


def words_of_data(frozen: Frozen) -> frozenset[str]:
    """What people typed, and the title made of it, which stand inside sentences of the report."""
    about = frozen.about
    typed = (about.citation, about.title, about.reason, *about.observers)
    limits = ("Roadside", "Own field trials.")
    return frozenset(words_of([*NAMES, *NAMES.values(), *typed, *limits, INTERNATIONAL]))


def test_the_report_says_nothing_unmarked(frozen):
    with in_pseudo_language():
        text, drawn = report.html_of(frozen)
        # A page of the guide is in English until it is translated whole.
        own = text.replace(guide_page("cautions").html, "")
    assert own != text
    found = {
        words.strip()
        for html in (own, *drawn.pictures.values())
        for words in unmarked_in(html, words_of_data(frozen))
    }
    assert found - data_of(frozen) == set()


def test_notes_of_the_years_are_explained_in_the_language_of_the_reader(frozen):
    """The letters of a year find their notes, whatever their names are called."""
    in_english = [page.notes for page in report.draw(frozen).pages]
    with in_pseudo_language():
        translated = [page.notes for page in report.draw(frozen).pages]
    letters = [[letter for letter, *_ in notes] for notes in in_english]
    assert any(letters)
    assert letters == [[letter for letter, *_ in notes] for notes in translated]
