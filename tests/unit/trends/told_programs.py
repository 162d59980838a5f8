"""Whole programs of listening periods, made up, and what is told of them."""

import dataclasses

import numpy as np

from surveys.trends.analysis import Parts, analyze
from surveys.trends.histories import PeriodColumns
from surveys.trends.periods import SpeciesPeriods

ROUTES, STOPS, YEARS, VISITS = 12, 4, 10, 3
FIRST = 2011
PARTS = Parts(fit_check=False, turnover=False, index=False, phenology=False)
BARE = dataclasses.replace(PARTS, sensitivity=False)


def columns(seed=4, *, p=lambda year: 0.6, slope=0.0):
    rng = np.random.default_rng(seed)
    route, stop, year, visit = (
        axis.ravel() for axis in np.indices((ROUTES, STOPS, YEARS, VISITS), dtype=np.int64)
    )
    place = route * STOPS + stop
    luck = rng.random((ROUTES * STOPS, YEARS))
    for later in range(1, YEARS):
        kept = rng.random(len(luck)) < 0.8
        luck[kept, later] = luck[kept, later - 1]
    there = luck < 1 / (1 + np.exp(-slope * (np.arange(YEARS) - 4.5)))
    chance = np.array([p(one) for one in range(YEARS)])
    heard = there[place, year] & (rng.random(len(place)) < chance[year])
    return PeriodColumns(
        route=route,
        stop=place,
        season_year=FIRST + year,
        night=365 * (FIRST + year) + 20 * visit,
        visit_number=visit + 1,
        call_index=heard.astype(float),
        heard=heard.astype(float),
        way=np.zeros(len(place), np.int64),
        first_season=np.zeros(len(place), bool),
    )


def periods(own, **more):
    return SpeciesPeriods(
        columns=own,
        day=own.night % 365,
        in_season=np.ones(len(own.night), bool),
        stops={},
        **more,
    )


def analyzed(own, *, site="stop", parts=BARE, **more):
    return analyze("Pseudacris crucifer", periods(own, **more), site=site, parts=parts)


def changed(own, year):
    return dataclasses.replace(own, way=(own.season_year >= year).astype(np.int64))
