"""The reader's language, for code that knows no framework.

`SurveysConfig` puts the translations of Django in; without them texts are what they are written
as, in American English. `makemessages` finds the texts by the names of these functions.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Protocol

_PLACE = re.compile(r"\{(\w+)\}")


class Translations(Protocol):
    """What is asked of a catalog of translations; `django.utils.translation` has it."""

    def gettext(self, message: str, /) -> str: ...

    def ngettext(self, singular: str, plural: str, number: int, /) -> str: ...

    def get_language(self) -> str | None: ...


class AsWritten:
    """No translations."""

    def gettext(self, message: str, /) -> str:
        return message

    def ngettext(self, singular: str, plural: str, number: int, /) -> str:
        return singular if number == 1 else plural

    def get_language(self) -> str | None:
        return None


def _grouped_as_written(number: int) -> str:
    return f"{number:,}"


@dataclass
class _Current:
    translations: Translations
    grouped: Callable[[int], str]


_current = _Current(AsWritten(), _grouped_as_written)


def use(translations: Translations, grouped: Callable[[int], str] = _grouped_as_written) -> None:
    """Take translations, and how digits are grouped, from what knows the language of whoever
    reads."""
    _current.translations, _current.grouped = translations, grouped


def gettext(message: str) -> str:
    # A catalog answers the empty message with its own header.
    return _current.translations.gettext(message) if message else ""


def ngettext(singular: str, plural: str, number: int) -> str:
    return _current.translations.ngettext(singular, plural, number)


def language() -> str:
    """The reader's language as HTML names it: `en`, `pt-br`."""
    return (_current.translations.get_language() or "en").lower()


def grouped(number: int) -> str:
    """A count with its thousands apart: 2,097."""
    return _current.grouped(number)


def unbroken_degrees(text: str) -> str:
    """The text, with no line break between a number and its degrees: `42 °F`."""
    return text.replace(" °", "\u00a0°")


def gettext_noop(message: str) -> str:
    """Mark a text that is translated when it is read."""
    return message


@dataclass(frozen=True)
class Plural:
    """A text for one and for more; `by` is the place in it that holds the number."""

    singular: str
    plural: str
    by: str


def ngettext_lazy(singular: str, plural: str, by: str) -> Plural:
    """Mark a text with a number that is translated when it is read."""
    return Plural(singular, plural, by)


def filled(text: str, values: Mapping[str, str]) -> str:
    """The text with values in its places: `stop {stop}`. A place without a value is left."""
    return _PLACE.sub(lambda match: values.get(match[1], match[0]), text)


def said(message: str, /, **values: object) -> str:
    """The text in the reader's language, with values in its places.

    >>> said("stop {number}", number=3)
    'stop 3'
    """
    return filled(gettext(message), {name: str(value) for name, value in values.items()})


def said_of(singular: str, plural: str, number: int, /, **values: object) -> str:
    """A text with a number, in the form that the reader's language has for that number.

    >>> said_of("{number} stop", "{number} stops", 2000)
    '2,000 stops'
    """
    texts = {"number": grouped(number)} | {name: str(value) for name, value in values.items()}
    return filled(ngettext(singular, plural, number), texts)
