"""Cells as they were posted."""

import json

import pytest
from django.http import QueryDict

from surveys import dates
from surveys.dates import AMERICAN, DateStyle
from surveys.web.sheets.posted import changed_cells


@pytest.mark.parametrize(
    ("style", "typed", "kept"),
    [
        (AMERICAN, "3/12/2026", "2026-03-12"),
        (DateStyle(), "3/12/2026", "2026-12-03"),
        (AMERICAN, "March 12, 2026", "2026-03-12"),
        (AMERICAN, "2026-03-12", "2026-03-12"),
        # What cannot be read stays as it was typed; the rules say so.
        (AMERICAN, "13/12/2026", "13/12/2026"),
        (AMERICAN, "soon", "soon"),
    ],
)
def test_a_night_is_read_in_the_order_of_the_program_and_kept_in_one_form(style, typed, kept):
    posted = QueryDict(mutable=True)
    posted.update({"night": typed, "notes": "3/12/2026", "rendered": json.dumps({})})
    with dates.using(style):
        changes = changed_cells(posted)
    assert changes["night"].now == kept
    assert changes["notes"].now == "3/12/2026"


@pytest.mark.parametrize("rendered", ["", "no JSON", "[" * 60_000, "[1]"], ids=len)
def test_a_page_that_does_not_say_what_it_showed_overwrites_nothing(rendered):
    posted = QueryDict(mutable=True)
    posted.update({"notes": "Windy.", "rendered": rendered})
    change = changed_cells(posted)["notes"]
    assert (change.was, change.now) == ("", "Windy.")
