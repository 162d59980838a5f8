"""Places and yearly results as layers of a map: rows of points.

Nothing here is finer than the tables: what these generalize or withhold is generalized and
withheld here, and a withheld place is a row without a point.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from surveys.protocol.values import Place
from surveys.publishing.frozen import (
    Frozen,
    Value,
)
from surveys.publishing.routeplaces import (
    GENERALIZED,
    Row,
    place_of,
    with_reach,
)
from surveys.publishing.tables import (
    CALLS,
    CHECKLIST,
    PERIODS,
    ROUTE,
    ROUTES,
    SEASON_YEAR,
    SPECIES,
    STOPS,
    VISITS,
    Cells,
    Table,
)

ROUTE_COLUMNS = (
    *ROUTES.columns,
    Cells(
        name="coordinate_uncertainty_m",
        type="number",
        meaning="Radius around the coordinates within which all stops of the route lie.",
        unit="m",
    ),
    *(column for column in STOPS.columns if column.name in GENERALIZED),
)
YEAR_COLUMNS = (
    ROUTE,
    SPECIES,
    SEASON_YEAR,
    Cells(
        name="stops_listened",
        type="integer",
        meaning="Stops that were listened to and where the species is heard or silent.",
        unit="stops",
    ),
    Cells(
        name="stops_heard", type="integer", meaning="Of these, where it was heard.", unit="stops"
    ),
    Cells(
        name="highest_index",
        type="integer",
        meaning="Highest call index of the season on the route; 0 where it was not heard.",
        unit="call index",
    ),
)


@dataclass(frozen=True, kw_only=True)
class Layer:
    """Rows by column; `places` are where they lie, one a row, None where that is withheld."""

    name: str
    title: str
    columns: tuple[Cells, ...]
    rows: Sequence[Row]
    places: Sequence[Place | None]


def layers(frozen: Frozen) -> tuple[Layer, Layer, Layer]:
    """Routes, stops, and what was heard on each route by species and season year."""
    stops = _rows(frozen, STOPS)
    stops_of: dict[Value, list[int]] = {}
    for at, stop in enumerate(stops):
        stops_of.setdefault(stop["route"], []).append(at)
    routes = [
        with_reach(row, [stops[at] for at in stops_of.get(row["route"], ())])
        for row in _rows(frozen, ROUTES)
    ]
    places = {row["route"]: place_of(row) for row in routes}
    best = _best_indices(frozen, [stop["stop"] for stop in stops])
    years = [row for route in stops_of for row in best.rows(route, stops_of[route])]
    return (
        Layer(
            name="routes",
            title="Routes",
            columns=ROUTE_COLUMNS,
            rows=routes,
            places=[places[row["route"]] for row in routes],
        ),
        Layer(
            name="stops",
            title="Stops",
            columns=STOPS.columns,
            rows=stops,
            places=[place_of(row) for row in stops],
        ),
        Layer(
            name="route_years",
            title="What was heard on each route, by species and season year",
            columns=YEAR_COLUMNS,
            rows=years,
            places=[places[row["route"]] for row in years],
        ),
    )


def _rows(frozen: Frozen, table: Table) -> list[Row]:
    return [dict(zip(table.header, row, strict=True)) for row in frozen.rows(table.name)]


@dataclass(frozen=True, kw_only=True)
class _Best:
    """`index` is one more than the highest call index, by stop, species and season year; 0 where
    the species was not listened for, or never judged."""

    species: Sequence[Value]
    years: Sequence[Value]
    index: np.ndarray

    def rows(self, route: Value, stops: Sequence[int]) -> Iterator[Row]:
        of_route = self.index[stops]
        listened, heard = (of_route > 0).sum(axis=0), (of_route > 1).sum(axis=0)
        highest = of_route.max(axis=0)
        for species, year in np.argwhere(listened > 0).tolist():
            yield {
                "route": route,
                "species": self.species[species],
                "season_year": self.years[year],
                "stops_listened": int(listened[species, year]),
                "stops_heard": int(heard[species, year]),
                "highest_index": int(highest[species, year]) - 1,
            }


def _best_indices(frozen: Frozen, stops: Sequence[Value]) -> _Best:
    species = [row[0] for row in frozen.rows(CHECKLIST.name)]
    visit, stop = PERIODS.header.index("visit"), PERIODS.header.index("stop")
    season_year = VISITS.header.index("season_year")
    year_of = {row[0]: row[season_year] for row in frozen.rows(VISITS.name)}
    years = sorted(set(year_of.values()))
    stop_at, species_at, year_at = (
        {value: at for at, value in enumerate(values)} for values in (stops, species, years)
    )
    shape = (len(stops), len(species), len(years))
    cell = {
        row[0]: stop_at[row[stop]] * len(species) * len(years) + year_at[year_of[row[visit]]]
        for row in frozen.rows(PERIODS.name)
    }
    # One byte a stop, species and year, and no object for any row of the largest table.
    best = bytearray(math.prod(shape))
    for period, name, index, *_ in frozen.rows(CALLS.name):
        if index is not None:
            at = cell[period] + species_at[name] * len(years)
            best[at] = max(best[at], index + 1)
    return _Best(
        species=species, years=years, index=np.frombuffer(best, dtype=np.uint8).reshape(shape)
    )
