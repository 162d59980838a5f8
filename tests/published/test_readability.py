"""The grade against worked examples and counted syllables from outside the project."""

import pytest

from tests.support.readability import counts, grade, running_text, syllables_of

# Syllables as the CMU Pronouncing Dictionary has them (Carnegie Mellon University, version 0.7b);
# from memory. Where it has two pronunciations, the longer one.
SYLLABLES = {
    1: "frog stop call hear heard night road times made passed stopped lights where toad rain",
    2: "survey species listen listened chorus visit wanted noises table tables judges"
    " places quiet window water never people little answer always being going",
    3: "protocol coordinate several animal animals interval conditions period usual area example"
    " wherever another family remember recording",
    4: "temperature variety american coordinates permission january february society",
    5: "coordinator university immediately opportunity",
}


def test_syllables_of_common_words():
    counted = [
        (word, number, syllables_of(word))
        for number, words in SYLLABLES.items()
        for word in words.split()
    ]
    wrong = [row for row in counted if row[1] != row[2]]
    assert len(wrong) <= 0.08 * len(counted), wrong
    in_all, found = sum(row[1] for row in counted), sum(row[2] for row in counted)
    assert found == pytest.approx(in_all, rel=0.03)


def test_a_worked_example():
    """A sentence of 13 words and 24 syllables: grade 11.3.

    Example of the article on the Flesch-Kincaid tests in Wikipedia; from memory.
    """
    text = "The Australian platypus is seemingly a hybrid of a mammal and reptilian creature."
    sentences, words, syllables = counts(text)
    assert (sentences, words) == (1, 13)
    assert syllables == pytest.approx(24, abs=1)
    assert grade(text) == pytest.approx(11.3, abs=1)


def test_the_constants_of_the_report():
    """0.39, 11.8 and 15.59: Kincaid and others 1975, Research Branch Report 8-75."""
    assert grade("Go. Go.") == pytest.approx(0.39 * 1 + 11.8 * 1 - 15.59)
    assert grade("Go on now.") == pytest.approx(0.39 * 3 + 11.8 * 1 - 15.59)
    assert grade("Never ever.") == pytest.approx(0.39 * 2 + 11.8 * 2 - 15.59)


def test_names_and_numbers_are_short_words():
    assert counts("The Gray treefrog calls at 42 °F.", ["Gray treefrog"]) == (1, 5, 5)


def test_tables_and_headings_are_left_out():
    page = (
        "# Title\n\nOne text.\n\n| a | b |\n|---|---|\n| c | d |\n\n- An *item* of a [list](/x/).\n"
    )
    assert running_text(page) == "One text.\nAn item of a list."
