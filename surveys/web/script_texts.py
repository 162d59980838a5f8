"""Translations for the scripts: the page carries them, so that they are there without a network.

The texts are found in the sources of the scripts; there is no build step. They are translated from
the catalog of the scripts (`djangojs`), and what server and phone both say from that of the server.
"""

import json
import re
from functools import lru_cache
from pathlib import Path

from django.conf import settings
from django.utils.translation import get_language, gettext, ngettext
from django.utils.translation.trans_real import DjangoTranslation

from surveys.language import Plural
from surveys.protocol.sentences.vocabulary import CELLS, VOCABULARY
from surveys.protocol.telling import SENTENCES
from surveys.protocol.weather import BEAUFORT, CALL_INDEX, NOISE, SKY

_STRING = r'"(?:[^"\\]|\\.)*"'
_ONE = re.compile(rf"\b(?:gettext|marked)\(\s*({_STRING})")
_TWO = re.compile(rf"\bngettext\(\s*({_STRING}),\s*({_STRING})")
_FOLDERS = Path(__file__).parent

Catalog = dict[str, str | list[str]]


def script_catalog() -> Catalog:
    """Text to translation, or to the forms for one and for more, in the active language. Empty
    where the texts are as they are written."""
    if get_language() in (None, settings.LANGUAGE_CODE) and settings.LANGUAGE_CODE == "en":
        return {}
    texts, plurals = script_texts()
    catalog: Catalog = {text: _translated(text) for text in texts}
    for singular, plural in plurals:
        catalog[singular] = [_translated_number(singular, plural, number) for number in (1, 2)]
    return {text: said for text, said in catalog.items() if said != text}


@lru_cache(maxsize=1)
def script_texts() -> tuple[frozenset[str], frozenset[tuple[str, str]]]:
    """All texts of the scripts, and all pairs of texts with a number."""
    sources = [path.read_text("utf-8") for path in sorted(_FOLDERS.rglob("static/**/*.js"))]
    texts = {json.loads(text) for source in sources for text in _ONE.findall(source)}
    plurals = {
        (json.loads(one), json.loads(more))
        for source in sources
        for one, more in _TWO.findall(source)
    }
    for sentence in SENTENCES.values():
        if isinstance(sentence.message, Plural):
            plurals.add((sentence.message.singular, sentence.message.plural))
        else:
            texts.add(sentence.message)
        texts.update(sentence.remedy)
    texts.update(
        VOCABULARY.values(),
        CELLS.values(),
        (row.name for row in BEAUFORT),
        (row.sign for row in BEAUFORT),
    )
    texts.update(CALL_INDEX.values())
    for state in (*SKY.values(), *NOISE.values()):
        texts.update((state.name, state.sign))
    return frozenset(texts - {""}), frozenset(plurals)


@lru_cache
def _of_scripts(language: str) -> DjangoTranslation:
    return DjangoTranslation(language, domain="djangojs", localedirs=settings.LOCALE_PATHS)


def _translated(text: str) -> str:
    translated = gettext(text)
    return translated if translated != text else _of_scripts(get_language()).gettext(text)


def _translated_number(singular: str, plural: str, number: int) -> str:
    translated = ngettext(singular, plural, number)
    if translated not in (singular, plural):
        return translated
    return _of_scripts(get_language()).ngettext(singular, plural, number)
