"""Cells that differ between two versions of a publication, as the page shows them."""

import pytest

from surveys.publishing.differences import NumberChange
from surveys.web.publications.by_cause import _words


@pytest.mark.parametrize(
    ("column", "before", "after", "shown"),
    [
        ("occupancy", 0.25, None, ("Occupancy", "0.2500", "blank")),
        ("occupancy", 0.25001, 0.25002, ("Occupancy", "0.25001", "0.25002")),
        (
            "flags",
            "gap-years; one-visit",
            "",
            ("Flags", "years without a share; one visit per season", "blank"),
        ),
        (
            "detection_model",
            "constant",
            "night",
            ("Detection model", "the same on every visit", "night of the season"),
        ),
        (
            "method",
            "wald; kappa",
            "wilson; share-of-trials",
            (
                "Method",
                "Wald interval; kappa (Cohen 1960 and 1968)",
                "Wilson interval; share of trials (Newcombe 1998)",
            ),
        ),
    ],
)
def test_codes_are_shown_in_words_and_numbers_as_published(column, before, after, shown):
    key = ("Acris blanchardi", "stop", 2021)
    change = NumberChange(key=key, column=column, before=before, after=after)
    assert _words(change) == ("Acris blanchardi, stop, 2021", *shown)
