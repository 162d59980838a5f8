"""Speed as ratios against a floor that is measured in the same run.

The floors are bare evaluations of the models' own vectorized likelihood, so a slow or busy machine
slows both sides.
"""

import functools
import time

import numpy as np
import pytest

from surveys.trends.histories import PeriodColumns, build_histories
from surveys.trends.models.occupancy import fit_occupancy
from surveys.trends.models.occupancy_estimates import detection_share, occupancy_share
from surveys.trends.models.occupancy_likelihood import (
    log_likelihood,
    occupancy_cells,
)
from surveys.trends.models.trend import fit_trend, summarize_trend, yearly_occupancy
from surveys.trends.table import yearly_table
from tests.unit.trends.simulated import (
    occupancy_histories,
    persistent_seasons,
)

pytestmark = pytest.mark.benchmark
SITES, YEARS, VISITS = 600, 20, 3


def ratio(work, floor, *, most, repeats):
    """Best time of ``work`` over best time of ``floor``, taken in turns.

    A neighbor on the same core slows one more than the other: a ratio above ``most`` is taken
    again, up to ten times as often.
    """
    times = {work: [], floor: []}
    for _ in range(10):
        for _ in range(repeats):
            for job, taken in times.items():
                start = time.perf_counter()
                job()
                taken.append(time.perf_counter() - start)
        found = min(times[work]) / min(times[floor])
        if found <= most:
            break
    return found


def test_single_fit():
    """Constant model, 600 sites, 3 visits: at most 3 times 30 evaluations on the grouped rows.

    Measured 2.6.
    """
    rng = np.random.default_rng(1)
    history = occupancy_histories(rng, psi=np.full(SITES, 0.6), p=np.full((SITES, VISITS), 0.4))
    fit = fit_occupancy(history)

    def evaluations():
        for _ in range(30):
            log_likelihood(fit.cells, fit.maximum.theta)

    assert ratio(lambda: fit_occupancy(history), evaluations, most=3.0, repeats=60) <= 3.0


@pytest.fixture(scope="module")
def stacked():
    psi = 1 / (1 + np.exp(-(0.3 - 0.05 * (np.arange(YEARS) - 9.5))))
    return persistent_seasons(np.random.default_rng(2), sites=SITES, psi=psi, p=0.4, visits=VISITS)


@pytest.mark.parametrize(("form", "most"), [("linear", 20), ("factor", 65)])
def test_stacked_trend(stacked, form, most):
    """600 sites, 20 seasons, 3 visits, clustered errors, against one evaluation visit by visit.

    Measured 8 and 30. One evaluation took 1.6 ms on 2 busy cores, so the bounds stand for 32 ms
    with a linear year (the aim is 60) and 104 ms with a factor year (the aim is 200).
    """
    history = stacked[0]
    by_visit = occupancy_cells(
        history, np.arange(len(history))[:, None] * 1.0, np.ones((*history.shape, 1))
    )
    assert len(by_visit.weight) == len(history)

    def work():
        fit_trend(*stacked, form=form)

    def floor():
        log_likelihood(by_visit, np.array([0.0, 0.4]))

    assert ratio(work, floor, most=most, repeats=10) <= most


def program(routes, stops=10):
    """Listening periods of one species on every stop, year and visit."""
    psi = np.linspace(0.65, 0.4, YEARS)
    history, year, site = persistent_seasons(
        np.random.default_rng(3), sites=routes * stops, psi=psi, p=0.4, visits=VISITS
    )
    visit = np.tile(np.arange(1, VISITS + 1), len(year))
    return PeriodColumns(
        route=np.repeat(site // stops, VISITS),
        stop=np.repeat(site, VISITS),
        season_year=np.repeat(year, VISITS),
        night=np.repeat(year, VISITS) * 365 + visit * 40,
        visit_number=visit,
        call_index=history.ravel(),
        heard=history.ravel(),
    )


def all_tables(periods):
    """Table, corrected years with both intervals, trend and line; the trend and how many years."""
    histories = build_histories(periods)
    trend = fit_trend(histories.detected, histories.season_year, histories.cluster)
    years = 0
    for year in np.unique(histories.season_year):
        rows = histories.season_year == year
        fit = fit_occupancy(histories.detected[rows], clusters=histories.cluster[rows])
        occupancy_share(fit)
        occupancy_share(fit, interval="clustered")
        detection_share(fit, interval="clustered")
        years += 1
    yearly_table("x", periods)
    yearly_occupancy(trend)
    return summarize_trend(trend), years


def test_all_tables_grow_no_faster_than_the_sites():
    """Table, corrected years, trend and line of one species at 1, 2 and 4 times 75 routes.

    Grows slower than linear while fits, whose cost does not depend on sites, still weigh.
    """
    one, two, four = (program(75 * times) for times in (1, 2, 4))
    jobs = [functools.partial(all_tables, periods) for periods in (one, two, four)]
    assert ratio(jobs[1], jobs[0], most=2.3, repeats=3) <= 2.3
    assert ratio(jobs[2], jobs[1], most=2.3, repeats=3) <= 2.3
