"""The phone in a language that nobody speaks: what is not marked shows."""

import pytest

from tests.browser.conftest import PHONE
from tests.browser.survey.conftest import survey_url
from tests.support.pseudo import in_pseudo_language, pseudo, unmarked, words_of_the_database

READ = """() => [...document.querySelectorAll("body *:not(script, style)")].flatMap((element) => [
  ...["aria-label", "title", "placeholder", "alt"].map((name) => element.getAttribute(name)),
  ...[...element.childNodes].filter((node) => node.nodeType === 3).map((node) => node.data),
]).filter((text) => text && text.trim())"""


@pytest.mark.django_db(transaction=True)
def test_the_first_screen_of_the_phone_says_nothing_unmarked(signed_in, observer, route):
    page = signed_in(observer, viewport=PHONE)
    with in_pseudo_language():
        page.goto(survey_url(observer))
        page.get_by_text(
            pseudo("No visits on this phone yet. Start one from a saved route below.")
        ).wait_for()
        texts = page.evaluate(READ)
    known = words_of_the_database()
    assert [text for text in texts if unmarked(text, known)] == []
