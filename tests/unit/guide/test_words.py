"""One word for one thing, in every text that a reader sees."""

import re

import pytest

from surveys.guide.pages import guide_page
from surveys.guide.words import WORDS, old_words
from tests.support.visible_texts import PROJECT, visible_texts

# Where an old word is meant: a part of an address or a name of columns, a word that old
# spreadsheets have, a log that no member reads, a term of the Beaufort scale or of statistics.
MEANT = {
    "surveys/api/serializers/findings.py": "query",
    "surveys/api/urls.py": "settle",
    "surveys/guide/words.py": "",
    "surveys/importing/fields.py": "water tonight",
    "surveys/protocol/weather.py": "break off",
    "surveys/runs/tasks.py": "begun again",
    "surveys/runs/work.py": "broke off",
    "surveys/trends/former_codes.py": "nobody",
    "surveys/trends/told_trend.py": "plain share",
    "surveys/trends/models/occupancy.py": "naive",
    "surveys/web/review/static/review/review.js": "settle",
    "surveys/web/survey/static/survey/rules/codes.js": "break off",
    "surveys/web/templates/web/design.html": "query",
}


@pytest.fixture(scope="module")
def texts():
    return list(visible_texts())


def test_no_text_has_an_old_word(texts):
    found = [
        f"{text.where}: “{old}” is “{word}” in: {text.text[:120]}"
        for text in texts
        for old, word in old_words(text.text)
        if text.path not in MEANT or MEANT[text.path] not in old.casefold()
    ]
    assert not found, "\n".join(found)


def test_every_kind_of_text_is_read(texts):
    by_path = {text.path for text in texts}
    for path in (
        "surveys/guide/pages/rules.md",
        "surveys/templates/publishing/report.html",
        "surveys/web/tonight/templates/tonight/field_sheet.html",
        "surveys/web/survey/static/survey/screens/home/routes.js",
        "surveys/protocol/rules/weather.py",
        "surveys/visits/notices.py",
        "accounts/templates/accounts/mail/invitation.txt",
    ):
        assert path in by_path, path
    assert len(texts) > 3000


def test_exceptions_are_still_there():
    for path, word in MEANT.items():
        assert word in (PROJECT / path).read_text("utf-8").casefold(), path


def test_an_old_word_is_found_with_the_word_to_use():
    assert list(old_words("Mend the query, then hand it in.")) == [
        ("query", "question"),
        ("Mend", "must fix"),
        ("hand it in", "submit"),
    ]


@pytest.mark.parametrize(
    "text", ["told apart by ear", "The listening period is over.", "recommended", "a queryset"]
)
def test_other_words_are_let_pass(text):
    assert not list(old_words(text))


@pytest.mark.parametrize(
    "british", ["programme", "licence", "colour", "neighbour", "metres", "centre", "per cent"]
)
def test_american_spelling(texts, british):
    word = re.compile(rf"\b{british}", re.IGNORECASE)
    assert [t.where for t in texts if word.search(t.text) and "sources.md" not in t.path] == []


def test_percent_stands_without_a_space(texts):
    """American usage; The Chicago Manual of Style, 9.18 (from memory)."""
    spaced = re.compile(r"\d %")
    assert [t.where for t in texts if spaced.search(t.text)] == []


def test_ranges_have_an_en_dash(texts):
    """The Chicago Manual of Style, 6.78 (from memory). Dates of ISO 8601 keep their hyphens."""
    hyphen = re.compile(r"(?<![\w.\[-])(?!0\d)\d{1,3}-\d{1,3}(?![\w-]|\.\d)")
    assert [f"{t.where}: {t.text[:90]}" for t in texts if hyphen.search(t.text)] == []


def test_the_page_of_the_guide_shows_every_word():
    page = guide_page("words")
    assert page.title == "Words we use"
    for word in WORDS:
        assert f"<td>{word.word}</td>" in page.html
        assert not list(old_words(word.meaning)), word.word
