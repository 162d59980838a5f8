"""A language that nobody speaks: every marked text comes in accents between brackets, so that a
text that is not marked shows. It is made from the texts themselves; no file of it is kept.

    >>> pseudo("Stop {number} of 10")
    '⟦Šţóþ {number} óƒ 10⟧'
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from html.parser import HTMLParser

from django.apps import apps
from django.db import models
from django.test import override_settings
from django.utils import translation
from django.utils.translation import trans_real

LANGUAGE = "qps"
_ACCENTS = str.maketrans(
    "AaCcDdEeGgIiLlNnOoSsTtUuYyZzfp",
    "ÀáÇçĐðÈéĜğÌíŁłÑñÒóŠšŢţÙúÝýŽžƒþ",
)
_ACCENTED = frozenset(map(chr, _ACCENTS.values()))
# Places for values, tags, entities and commands of a format stay as they are.
_KEPT = re.compile(r"(\{\w*\}|%\(\w+\)[sd]|%[sd]|%%|<[^>]+>|&#?\w+;)")


def pseudo(text: str) -> str:
    parts = _KEPT.split(text)
    if not any(re.search("[A-Za-z]", part) for part in parts[::2]):
        return text
    parts[::2] = [part.translate(_ACCENTS) for part in parts[::2]]
    lead, trail = re.match(r"\s*", text)[0], re.search(r"\s*$", text)[0]
    return f"{lead}⟦{''.join(parts).strip()}⟧{trail}"


class PseudoCatalog:
    """What `trans_real` asks of a catalog."""

    domain = "django"

    def gettext(self, message: str) -> str:
        return pseudo(message.rpartition(trans_real.CONTEXT_SEPARATOR)[2])

    def ngettext(self, singular: str, plural: str, number: int) -> str:
        return self.gettext(singular if number == 1 else plural)

    def language(self) -> str:
        return LANGUAGE

    def to_language(self) -> str:
        return LANGUAGE


@contextmanager
def in_pseudo_language() -> Iterator[None]:
    """All that is said while this lasts is said in the language; in any thread."""
    settings = {"LANGUAGE_CODE": LANGUAGE, "LANGUAGES": [(LANGUAGE, "Pseudo")]}
    with override_settings(**settings):
        # Changing the language empties what Django has loaded.
        before = trans_real._translations
        trans_real._translations = {**before, LANGUAGE: PseudoCatalog()}
        try:
            with translation.override(LANGUAGE):
                yield
        finally:
            trans_real._translations = before


# Web and mail addresses; places such as {name}, which people write in texts of their own.
_ADDRESS_OR_PLACE = re.compile(r"\w+://[^\s⟧]+|\S+@\S+|\{\w+\}")


def unmarked(text: str, known: frozenset[str]) -> list[str]:
    """Words of the text that no marked text holds and that are not `known`, which are data. What
    fills a place in a marked text is looked at as well."""
    words = re.findall(r"[^\W\d_]{2,}", _ADDRESS_OR_PLACE.sub("", text))
    return [word for word in words if word.casefold() not in known and _is_plain(word)]


def _is_plain(word: str) -> bool:
    """Whether it would have got accents and has none."""
    return not _ACCENTED & {*word} and word.translate(_ACCENTS) != word


SPOKEN = ("title", "aria-label", "alt", "placeholder")
SILENT = ("script", "style", "code", "pre", "template")


class Texts(HTMLParser):
    """What a person reads or hears of a page, pictures in it included."""

    def __init__(self) -> None:
        super().__init__()
        self.texts: list[str] = []
        self.silent = 0

    def handle_starttag(self, tag, attrs):
        self.silent += tag in SILENT
        # What the library of the charts says of their parts: readers get the `alt` of a picture.
        if dict(attrs).get("role") != "graphics-symbol" and "aria-roledescription" not in dict(
            attrs
        ):
            self.texts += [value or "" for name, value in attrs if name in SPOKEN]

    def handle_endtag(self, tag):
        self.silent -= tag in SILENT

    def handle_data(self, data):
        if not self.silent:
            self.texts.append(data)


def unmarked_in(html: str, known: frozenset[str]) -> list[str]:
    page = Texts()
    page.feed(html)
    return list(dict.fromkeys(text for text in page.texts if unmarked(text, known)))


# Units and signs that are the same in every language; names of this software.
INTERNATIONAL = (
    "Duskpool km mi ft mm in am pm UTC GeoJSON CSV PNG "
    "SVG WAV Ogg WebM JSON API PDF dataset index jsonld SHA SUMS txt CC BY"
)


# Texts of ours that rows hold in English and that are translated when they are read.
_OURS = {
    "Species": ("call", "note"),
    "CallingRegion": ("name",),
    "LookAlikes": ("name", "how", "other_sounds"),
    "SpeciesFit": ("result",),
    "PublicationFile": ("meaning",),
    "BackgroundRun": ("step", "problem"),
    "SentReminder": ("words",),
    "LetterCopy": ("words",),
}


def words_of_the_database() -> frozenset[str]:
    """Words that people or a program have entered."""
    found: set[str] = set()
    for model in (
        *apps.get_app_config("surveys").get_models(),
        *apps.get_app_config("accounts").get_models(),
    ):
        names = [
            field.name
            for field in model._meta.concrete_fields
            if isinstance(field, (models.CharField, models.TextField, models.JSONField))
            and field.name not in _OURS.get(model.__name__, ())
        ]
        for row in model._base_manager.values_list(*names) if names else ():
            found |= words_of(map(str, row))
    return frozenset(found | words_of([INTERNATIONAL]))


def words_of(texts: Iterable[str]) -> set[str]:
    return {word.casefold() for text in texts for word in re.findall(r"[^\W\d_]{2,}", text)}
