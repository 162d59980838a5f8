"""Pages of the guide that must say the same as the code."""

import datetime as dt
import re
from pathlib import Path

import pytest

from surveys.models import Sensitivity
from surveys.protocol import params
from surveys.protocol.seasons import season_year
from surveys.protocol.values import MonthDay, SkyState
from surveys.protocol.weather import (
    BEAUFORT,
    CALL_INDEX,
    NOISE,
    SKY,
)
from surveys.publishing.places import GRID
from surveys.visits.sheet.texts import read_state

PAGES = Path(__file__).parents[3] / "surveys" / "guide" / "pages"


def rows(page, heading=None):
    """Cells of the table under a heading, its head left out."""
    text = (PAGES / f"{page}.md").read_text("utf-8")
    if heading:
        text = text.split(f"\n## {heading}\n")[1].split("\n## ")[0]
    lines = [line for line in text.splitlines() if line.startswith("|")]
    return [[cell.strip() for cell in line.strip("|").split("|")] for line in lines[2:]]


def test_beaufort_table():
    table = rows("weather", "Wind: Beaufort force")
    assert [row[:3] for row in table] == [
        [str(row.force), row.sign, f"{row.lowest}–{row.highest}"] for row in BEAUFORT[:7]
    ]


@pytest.mark.parametrize(("heading", "states"), [("Sky", SKY), ("Noise", NOISE)])
def test_tables_of_states(heading, states):
    assert dict(rows("weather", heading)) == {told.name: told.sign for told in states.values()}


def test_the_beginning_of_a_word_is_read_as_the_guide_says():
    assert "“over” is read as overcast" in (PAGES / "weather.md").read_text("utf-8")
    assert read_state("over", SKY, {}, params.sky) is SkyState.OVERCAST


def test_call_index_table():
    assert [int(row[0]) for row in rows("call-index")] == list(CALL_INDEX)


def test_every_method_has_its_heading():
    text = (PAGES / "trend-method.md").read_text("utf-8")
    headings = re.findall(r"^## (.+)$", text, flags=re.MULTILINE)
    assert headings[1:15] == [
        "Joint entries and their species",
        "Uncorrected occupancy",
        "Wilson interval",
        "Detection-corrected occupancy",
        "Call-index distribution",
        "Trend over years",
        "Kinds of sites",
        "Choosing a model",
        "Does the model fit?",
        "Power: would we notice a decline?",
        "All species together",
        "Null run",
        "Turnover",
        "Phenology",
    ]


def test_the_worked_season_years_of_the_guide():
    text = (PAGES / "seasons-and-nights.md").read_text("utf-8")
    assert "the season year 2025 runs from September 1, 2024 to August 31, 2025" in text
    september = MonthDay(month=9, day=1)

    assert season_year(dt.date(2024, 9, 1), september) == 2025
    assert season_year(dt.date(2025, 8, 31), september) == 2025


@pytest.mark.parametrize("page", sorted(PAGES.glob("*.md")), ids=lambda page: page.stem)
def test_every_page_begins_with_its_title(page):
    assert re.match(r"# \S", page.read_text("utf-8"))


def test_sharing_table_has_the_cells_of_the_grid():
    """Levels and sides of the cells as the code rounds them."""
    given = {row[0]: row[1] for row in rows("sharing", "Places")}
    assert list(given) == [level.label.split(":")[0] for level in Sensitivity]
    for level, side in GRID.items():
        assert f"a cell of {side}°" in given[Sensitivity(level).label.split(":")[0]]
