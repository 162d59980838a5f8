"""Texts for code without a framework: places, plurals, another language."""

import pytest

from surveys import language
from surveys.language import AsWritten, filled, said, said_of


class Shouting(AsWritten):
    def gettext(self, message):
        return message.upper().replace("{NUMBER}", "{number}")

    def ngettext(self, singular, plural, number):
        return self.gettext(super().ngettext(singular, plural, number))


@pytest.fixture
def shouting():
    before = language._current.translations, language._current.grouped
    language.use(Shouting())
    yield
    language.use(*before)


def test_values_fill_their_places_and_a_place_without_a_value_is_left():
    assert filled("stop {stop} of {route}", {"stop": "3"}) == "stop 3 of {route}"


def test_a_value_with_braces_is_not_filled_again():
    assert said("{one} {two}", one="{two}", two="2") == "{two} 2"


@pytest.mark.parametrize(
    ("number", "text"),
    [(0, "0 stops"), (1, "1 stop"), (2, "2 stops"), (1_200, "1,200 stops")],
)
def test_a_number_chooses_the_form(number, text):
    assert said_of("{number} stop", "{number} stops", number) == text


def test_texts_are_in_the_language_of_whoever_reads(shouting):
    assert said("stop {number}", number=3) == "STOP 3"
    assert said_of("{number} stop", "{number} stops", 2) == "2 STOPS"


def test_the_empty_text_stays_empty(shouting):
    """A catalog has its header under the empty text."""
    assert language.gettext("") == ""
