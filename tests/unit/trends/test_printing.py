"""How fits print: a short table, as text and as HTML."""

import re

import numpy as np
import pytest

from surveys.trends import (
    fit_abundance,
    fit_call_index,
    fit_dynamic,
    fit_false_positive,
    fit_occupancy,
    fit_trend,
    summarize_trend,
)
from surveys.trends.models.year_trend import fit_year_trend, summarize_year_trend
from surveys.trends.printing import HEAD
from tests.unit.trends.told_programs import analyzed, columns

RNG = np.random.default_rng(1)
ROWS, YEARS = 240, 2015 + np.arange(240) // 40
ROUTES = np.arange(240) // 4 % 10
THERE = RNG.random(240) < 0.6
HEARD = (THERE[:, None] & (RNG.random((240, 3)) < 0.6)).astype(float)
FITS = {
    "occupancy": lambda: fit_occupancy(HEARD),
    "clustered": lambda: fit_occupancy(HEARD, clusters=ROUTES),
    "trend": lambda: fit_trend(HEARD, YEARS, ROUTES),
    "summary": lambda: summarize_trend(fit_trend(HEARD, YEARS, ROUTES)),
    "year trend": lambda: fit_year_trend(HEARD, YEARS, ROUTES),
    "told": lambda: summarize_year_trend(fit_year_trend(HEARD, YEARS, ROUTES)),
    "abundance": lambda: fit_abundance(HEARD, bound=20),
    "dynamic": lambda: fit_dynamic(HEARD.reshape(40, 6, 3)),
    "false": lambda: fit_false_positive(HEARD, HEARD * (RNG.random(HEARD.shape) < 0.3)),
    "index": lambda: fit_call_index(HEARD * 2, groups=YEARS),
    "result": lambda: analyzed(columns()),
    "never heard": lambda: fit_occupancy(np.zeros((30, 3))),
    "nobody listened": lambda: fit_year_trend(np.full((4, 2), np.nan), YEARS[:4], ROUTES[:4]),
}


@pytest.mark.parametrize("fit", FITS.values(), ids=FITS)
def test_a_fit_prints_as_a_short_table_and_never_as_arrays(fit):
    made = fit()
    text, page = repr(made), made._repr_html_()
    assert len(text.splitlines()) < 30
    assert max(map(len, text.splitlines())) < 220
    assert not re.search(r"array\(|dtype|OccupancyCells|nan", text)
    assert all(word in text.splitlines()[1] for word in HEAD[1:])
    assert page.count("<tr>") == len(list(made.printed_rows())) + 1
    assert page.count("<td>") == (len(HEAD) - 1) * len(list(made.printed_rows()))


def test_estimates_are_printed_with_their_errors():
    change = FITS["summary"]()
    assert [(row.value, row.se, row.low, row.high) for row in change.printed_rows()] == [
        (one.value, one.se, one.low, one.high)
        for one in (change.log_odds, change.odds, change.occupancy, change.points)
    ]


def test_what_is_printed_is_what_was_fitted():
    """The text by hand: a logit of 0 for half of the stops, and the standard error of a share of
    the same size, 1 / sqrt(n psi (1 - psi)), where nothing is missed."""
    always = np.repeat([[1.0, 1.0, 1.0, 1.0, 1.0, 1.0, 1.0, 1.0, 0.0], [0.0] * 9], 50, axis=0)
    lines = repr(fit_occupancy(always)).splitlines()
    assert lines[0] == "occupancy (MacKenzie et al. 2002), logit scale, 100 site-seasons"
    name, estimate, se, low, to, high = re.split(r"\s{2,}|(?<=\d) | (?=-?\d)", lines[2])
    assert (name, to) == ("occupancy: intercept", "to")
    assert abs(float(estimate)) < 1e-5
    assert float(se) == pytest.approx(0.2, abs=1e-3)
    assert float(low) == pytest.approx(-0.392, abs=1e-3)
    assert float(high) == pytest.approx(0.392, abs=1e-3)


def test_flags_stand_below_and_unknown_numbers_are_question_marks():
    text = repr(fit_occupancy(np.zeros((30, 3))))
    assert text.splitlines()[-1] == "flags: never heard; too few data"
    assert "?" in text.splitlines()[2]


def test_texts_are_escaped_in_html():
    heard = HEARD.copy()
    page = fit_occupancy(heard, detection={"<b>wind</b>": np.arange(240) % 3.0})._repr_html_()
    assert "&lt;b&gt;wind" in page
    assert "<b>" not in page
