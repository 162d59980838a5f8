"""The cells of the route × season-year table.

A page holds hundreds of cells and few different ones, so the words of a cell are
rendered once and kept.
"""

from dataclasses import dataclass
from functools import lru_cache

from django.template.loader import render_to_string
from django.urls import reverse
from django.utils.safestring import SafeString

from surveys.models import Program
from surveys.seasons.route_years import (
    RouteRow,
    RouteYear,
)
from surveys.web.seasons.forms import Filters


@dataclass(frozen=True, kw_only=True)
class Cell:
    """`kind` is "heard" (somebody listened), "gap" or "none"."""

    kind: str
    url: str = ""
    words: str = ""


NOTHING_DUE = Cell(kind="none")


def cells_of(program: Program, row: RouteRow, filters: Filters) -> list[Cell]:
    """The row's cells for the chosen measure; each leads to its visits."""
    query = {"route": row.code}
    if filters.species:
        query["species"] = filters.species.code
    visits = reverse("web:season_visits", kwargs={"program": program.slug}, query=query)
    words_of = MEASURES[filters.measure]

    def cell(found: RouteYear | None) -> Cell:
        if found is None or (found.highest_index is None and not found.gap):
            return NOTHING_DUE
        url = f"{visits}&since={found.season_year}&until={found.season_year}"
        if found.gap:
            return Cell(kind="gap", url=url)
        return Cell(kind="heard", url=url, words=words_of(found))

    return [cell(found) for found in row.cells]


@lru_cache(maxsize=4096)
def _words(*, small: str, said: str, chip: int | None = None, main: str = "") -> SafeString:
    return render_to_string(
        "seasons/cell.html", {"chip": chip, "main": main, "small": small, "said": said}
    )


def _index(found: RouteYear) -> SafeString:
    return _words(chip=found.highest_index, **_stop_words(found))


def _stops(found: RouteYear) -> SafeString:
    share = 100 * found.stops_detected / found.stops_listened
    return _words(main=f"{share:.0f} %", **_stop_words(found))


def _stop_words(found: RouteYear) -> dict[str, str]:
    return {
        "small": f"{found.stops_detected}/{found.stops_listened}",
        "said": f"{found.stops_detected} of {found.stops_listened} stops",
    }


def _effort(found: RouteYear) -> SafeString:
    return _words(
        main="1 visit" if found.visits == 1 else f"{found.visits} visits",
        small=f"{found.windows_done}/{found.windows_due}",
        said=(
            f"{found.windows_done} of {found.windows_due} windows done, "
            f"{found.periods} stops listened to"
        ),
    )


MEASURES = {"index": _index, "stops": _stops, "effort": _effort}
