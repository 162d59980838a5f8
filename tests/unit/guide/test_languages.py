"""The guide by language: a page that is translated, and English where none is."""

import shutil

import pytest

from surveys.guide import pages
from tests.support.pseudo import LANGUAGE, in_pseudo_language


@pytest.fixture
def folder(tmp_path, monkeypatch):
    """A copy of the guide, in which cautions and one rule are translated."""
    copy = tmp_path / "pages"
    shutil.copytree(pages.PAGES, copy)
    own = copy / LANGUAGE
    own.mkdir()
    (own / "cautions.md").write_text("# Çáúţíóñš\n\nŠţáý šáƒé.\n", "utf-8")
    (own / "rules.md").write_text("# Rúłéš\n\n## Ťóó çółđ `too-cold`\n\nÍţ wáš çółđ.\n", "utf-8")
    monkeypatch.setattr(pages, "PAGES", copy)
    return copy


def test_a_page_is_read_in_the_readers_language_and_else_in_english(folder):
    english = pages.guide_page("cautions")
    assert (english.title, english.language) == ("Cautions", "en")
    with in_pseudo_language():
        assert [page.slug for page in pages.guide_pages()] == list(pages.ORDER)
        own, other = pages.guide_page("cautions"), pages.guide_page("review")
    assert (own.title, own.language) == ("Çáúţíóñš", LANGUAGE)
    assert other.language == "en"
    assert pages.guide_page("cautions") == english


def test_a_rule_without_a_translated_section_is_explained_in_english(folder):
    english = pages.rule_sections()
    with in_pseudo_language():
        own = pages.rule_sections()
    assert own["too-cold"].strip() == "<p>Íţ wáš çółđ.</p>"
    assert own["too-windy"] == english["too-windy"]
    assert own.keys() == english.keys()


def test_a_country_is_asked_after_its_language(folder):
    assert pages._file(folder, f"{LANGUAGE}-xx", "cautions").parent.name == LANGUAGE
