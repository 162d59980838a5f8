"""The cells of the route × season-year table.

A page has hundreds of cells but few different ones, so rendered contents are cached.
"""

from dataclasses import dataclass
from functools import lru_cache

from django.template.loader import render_to_string
from django.urls import reverse
from django.utils.safestring import SafeString

from surveys.language import gettext, said, said_of
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


def row_cells(program: Program, row: RouteRow, filters: Filters) -> list[Cell]:
    """The row's cells for the chosen measure, each with a link to its visits."""
    query = {"route": row.code}
    if filters.species:
        query["species"] = filters.species.code
    visits = reverse("web:season_visits", kwargs={"program": program.slug}, query=query)
    words_of = MEASURES[filters.measure]

    def cell(route_year: RouteYear | None) -> Cell:
        if route_year is None or (route_year.highest_index is None and not route_year.gap):
            return NOTHING_DUE
        url = f"{visits}&since={route_year.season_year}&until={route_year.season_year}"
        if route_year.gap:
            return Cell(kind="gap", url=url)
        return Cell(kind="heard", url=url, words=words_of(route_year))

    return [cell(route_year) for route_year in row.cells]


@lru_cache(maxsize=4096)
def _words(*, small: str, label: str, chip: int | None = None, main: str = "") -> SafeString:
    return render_to_string(
        "seasons/cell.html", {"chip": chip, "main": main, "small": small, "label": label}
    )


def _species(route_year: RouteYear) -> SafeString:
    return _words(
        main=str(route_year.species_heard),
        small=said_of("{number} visit", "{number} visits", route_year.visits),
        label=said_of("{number} species heard", "{number} species heard", route_year.species_heard),
    )


def _index(route_year: RouteYear) -> SafeString:
    return _words(chip=route_year.highest_index, **_stop_words(route_year))


def _stops(route_year: RouteYear) -> SafeString:
    share = 100 * route_year.stops_detected / route_year.stops_listened
    return _words(main=f"{share:.0f}%", **_stop_words(route_year))


def _stop_words(route_year: RouteYear) -> dict[str, str]:
    return {
        "small": f"{route_year.stops_detected}/{route_year.stops_listened}",
        "label": said(
            "{stops_detected} of {stops_listened} stops",
            stops_detected=route_year.stops_detected,
            stops_listened=route_year.stops_listened,
        ),
    }


def _effort(route_year: RouteYear) -> SafeString:
    return _words(
        main=gettext("1 visit")
        if route_year.visits == 1
        else said("{visits} visits", visits=route_year.visits),
        small=f"{route_year.windows_done}/{route_year.windows_due}",
        label=(
            said(
                "{windows_done} of {windows_due} windows done, {periods} stops listened to",
                windows_done=route_year.windows_done,
                windows_due=route_year.windows_due,
                periods=route_year.periods,
            )
        ),
    )


MEASURES = {"species": _species, "index": _index, "stops": _stops, "effort": _effort}
