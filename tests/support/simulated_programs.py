"""Invented programs with a known truth, as listening periods of one species.

Wetlands differ by habitat, fish and how long they hold water, routes by more than that; stops tend
to keep their state from year to year; frogs are heard by night of the season, warmth and hour, and
some visits are missed.
"""

from dataclasses import dataclass, replace

import numpy as np
from scipy.special import expit, logit

from surveys.trends.histories import PeriodColumns
from surveys.trends.periods import (
    HYDROPERIOD,
    WATER,
    SpeciesPeriods,
)

FIRST_YEAR, STOPS = 2014, 10
# Habitat, how long it holds water, fish, share of the stops.
WETLANDS = (
    ("wooded", "season", "no", 0.24),
    ("shrub", "most_years", "no", 0.16),
    ("marsh", "always", "yes", 0.22),
    ("grassy", "season", "no", 0.16),
    ("ditch", "weeks", "no", 0.10),
    ("farm", "always", "unknown", 0.12),
)
_SHARES = np.array([wetland[-1] for wetland in WETLANDS])
# Of Gauss and Hermite, with their weights.
_NODES = np.polynomial.hermite_e.hermegauss(31)
_KEPT = 0.9
_WINDOWS = ((95, 25), (132, 24), (166, 23))


@dataclass(frozen=True, kw_only=True)
class Nature:
    """One species: log odds of occupancy of each kind of wetland in the middle year (-inf where it
    cannot live), their change a year, the spread among routes, and when it is heard."""

    level: np.ndarray
    slope: float
    route_sd: float
    peak: float
    width: float
    detection: float
    per_degree: float
    per_hour: float


@dataclass(frozen=True, kw_only=True)
class Program:
    """``there`` is the mean chance of occupancy over the stops listened to, by season year, given
    their wetlands and routes; ``anywhere`` the same over all stops there could have been. ``heard``
    is the chance of hearing the species where it was, over the same stops and their visits."""

    periods: SpeciesPeriods
    there: dict[int, float]
    heard: dict[int, float]
    anywhere: dict[int, float]

    @property
    def change(self) -> float:
        """Percent change of the share of stops a year, between the first year and the last."""
        first, last = min(self.anywhere), max(self.anywhere)
        return 100 * ((self.anywhere[last] / self.anywhere[first]) ** (1 / (last - first)) - 1)


def some_nature(rng, *, route_sd=0.5):
    """A species drawn at random: half of them live in some kinds of wetland only."""
    middle, kinds = rng.uniform(-0.9, 0.9), len(WETLANDS)
    if rng.random() < 0.5:
        suits = rng.permutation(kinds) < rng.integers(2, kinds + 1)
        level = np.where(suits, middle, -np.inf)
    else:
        fish = np.array([wetland[2] == "yes" for wetland in WETLANDS])
        held = np.array([HYDROPERIOD[wetland[1]] for wetland in WETLANDS])
        level = middle + rng.uniform(-1.5, 0) * fish + rng.uniform(-0.4, 0.4) * (held - 1.5)
    return Nature(
        level=level,
        slope=rng.uniform(-0.12, 0.12),
        route_sd=route_sd,
        peak=rng.uniform(110, 170),
        width=rng.uniform(22, 40),
        detection=rng.uniform(0.5, 0.85),
        per_degree=rng.uniform(0.04, 0.14),
        per_hour=rng.uniform(-0.2, 0.1),
    )


def simulate(rng, nature, *, routes=14, years=12):
    """One program in which the species was listened for in the whole of every season."""
    stops = routes * STOPS
    kind = rng.choice(len(WETLANDS), size=stops, p=_SHARES)
    apart = rng.normal(0, nature.route_sd, routes)
    middle = np.arange(years) - (years - 1) / 2
    line = nature.level[kind] + np.repeat(apart, STOPS)
    psi = expit(line[:, None] + nature.slope * middle)
    rank = rng.random((stops, years))
    for year in range(1, years):
        kept = rng.random(stops) < _KEPT
        rank[kept, year] = rank[kept, year - 1]
    occupied = rank < psi

    # One row a route, year and visit: night, evening, and whether it was made.
    shape = (routes, years, len(_WINDOWS))
    opens, length = np.array(_WINDOWS).T
    day = opens + rng.integers(0, length + 1, shape)
    evening = 7 + 14 * np.cos(2 * np.pi * (day - 200) / 365) + rng.normal(0, 3.6, shape)
    rain, wind = rng.exponential(7, shape) * (rng.random(shape) < 0.5), rng.integers(0, 4, shape)
    made = (rng.random(shape) > 0.07) & (rng.random(shape[:2]) > 0.035)[:, :, None]

    route, year, visit, stop = (
        axis.ravel() for axis in np.indices((*shape, STOPS), dtype=np.int64)
    )
    place = route * STOPS + stop
    hours = 0.6 + 0.22 * stop + rng.uniform(0, 0.1, len(stop))
    air = evening[route, year, visit] - 0.9 * (hours - 1.5)
    nights = day[route, year, visit]
    heard_if_there = expit(
        logit(nature.detection)
        - ((nights - nature.peak) / nature.width) ** 2
        + nature.per_degree * (air - 14)
        + nature.per_hour * (hours - 1.5)
    )
    heard = occupied[place, year] & (rng.random(len(place)) < heard_if_there)
    kept = made[route, year, visit] & (rng.random(len(place)) > 0.02)
    air[rng.random(len(air)) < 0.03] = np.nan
    held = np.array([HYDROPERIOD[wetland[1]] for wetland in WETLANDS])[kind][place]
    covariates = {
        "temperature": air,
        "wind": wind[route, year, visit].astype(float),
        "noise": rng.integers(0, 4, len(place)).astype(float),
        "rain": rain[route, year, visit],
        "water": np.where(
            held == HYDROPERIOD["always"], WATER["full"], rng.integers(0, 3, len(place))
        ),
        "minutes after sunset": 60 * hours,
        "night": (nights - np.median(nights)) / 10,
        "night squared": ((nights - np.median(nights)) / 10) ** 2,
    }
    season = FIRST_YEAR + year
    columns = PeriodColumns(
        route=route[kept],
        stop=place[kept],
        season_year=season[kept],
        night=(season * 366 + nights)[kept],
        visit_number=visit[kept] + 1,
        call_index=heard[kept].astype(float),
        heard=heard[kept].astype(float),
        covariates={name: values[kept] for name, values in covariates.items()},
    )
    listened = {
        int(one): np.unique(columns.stop[columns.season_year == one])
        for one in np.unique(columns.season_year)
    }
    return Program(
        periods=SpeciesPeriods(
            columns=columns,
            day=nights[kept],
            in_season=np.ones(int(kept.sum()), dtype=bool),
            stops={
                name: {one: WETLANDS[kind[one]][at] for one in range(stops)}
                for at, name in enumerate(("habitat", "hydroperiod", "fish"))
            },
        ),
        there={one: float(psi[at, one - FIRST_YEAR].mean()) for one, at in listened.items()},
        heard={
            int(one): float(heard_if_there[kept & occupied[place, year] & (season == one)].mean())
            for one in listened
        },
        anywhere=dict(
            zip(range(FIRST_YEAR, FIRST_YEAR + years), _anywhere(nature, middle), strict=True)
        ),
    )


def repeat_stops(periods, copies):
    """The same program with every stop written down ``copies`` times, each a stop of its own on
    the same route: more rows, and not one more independent observation."""
    columns = periods.columns
    apart = int(columns.stop.max()) + 1

    def repeat(values):
        return np.tile(values, copies)

    return replace(
        periods,
        columns=PeriodColumns(
            route=repeat(columns.route),
            stop=np.concatenate([columns.stop + apart * copy for copy in range(copies)]),
            season_year=repeat(columns.season_year),
            night=repeat(columns.night),
            visit_number=repeat(columns.visit_number),
            call_index=repeat(columns.call_index),
            heard=repeat(columns.heard),
            covariates={name: repeat(values) for name, values in columns.covariates.items()},
        ),
        day=repeat(periods.day),
        in_season=repeat(periods.in_season),
        stops={
            name: {
                stop + apart * copy: value
                for copy in range(copies)
                for stop, value in values.items()
            }
            for name, values in periods.stops.items()
        },
    )


def _anywhere(nature, middle):
    """Mean over wetlands and routes, by Gauss and Hermite."""
    nodes, weights = _NODES
    line = nature.level[:, None] + nature.route_sd * nodes
    share = expit(line[:, :, None] + nature.slope * middle)
    return np.einsum("k,n,knt->t", _SHARES, weights / weights.sum(), share).tolist()
