"""Routes that somebody can still go to in a window, and nobody will."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from surveys.models import Program, Route
from surveys.programs.assignments import current_season_year
from surveys.programs.schedule import DueWindow, open_season
from surveys.seasons.coverage import Coverage, CoverageRow, coverage

_AHEAD = (Coverage.DUE, Coverage.AHEAD)


@dataclass(frozen=True, kw_only=True)
class FreeRoute:
    """`windows` have nobody to go; `is_whole`: they are all that is left of the season."""

    route: Route
    windows: tuple[DueWindow, ...]
    is_whole: bool


def season_to_plan(program: Program, today: dt.date) -> int:
    """The season year that runs; once its last window is over, the next one."""
    running = open_season(program, today)
    return running if running is not None else current_season_year(program, today) + 1


def free_routes(program: Program, season_year: int, today: dt.date) -> list[FreeRoute]:
    """Active routes by code. In a fixed number of queries."""
    routes = {route.pk: route for route in program.routes.filter(active=True)}
    table = coverage(program, season_year, today=today)
    found = [_free(routes[row.route_id], row) for row in table.rows if row.route_id in routes]
    return [route for route in found if route.windows]


def _free(route: Route, row: CoverageRow) -> FreeRoute:
    ahead = [cell for cell in row.cells if cell is not None and cell.coverage in _AHEAD]
    windows = tuple(cell.window for cell in ahead if cell.is_gap)
    return FreeRoute(route=route, windows=windows, is_whole=len(windows) == len(ahead))
