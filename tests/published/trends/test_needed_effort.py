"""Whether the number of seasons that is asked for gives the chance that it promises."""

from dataclasses import replace

import numpy as np
from scipy.stats import binom

from surveys.trends.models.needed_effort import needed_effort
from surveys.trends.models.year_trend import fit_year_trend
from tests.published.trends.calibration.programs import Setting, simulate

PILOTS, PROGRAMS = 30, 100
SETTING = Setting(percent=-3, year_sd=0.3)


def fitted(setting, *seed):
    drawn = simulate(setting, np.random.default_rng(seed))
    return fit_year_trend(drawn.detections, drawn.season_year, drawn.route, with_pooled=False)


def mean_of(fits):
    """A trend with the mean scatter and errors of many: that of one is itself uncertain, which the
    page tells by the ends of its interval."""
    first = fits[0]
    levels = replace(
        first.levels,
        levels=np.mean([fit.levels.levels for fit in fits], axis=0),
        covariance=np.mean([fit.levels.covariance for fit in fits], axis=0),
    )
    scatter = float(np.sqrt(np.mean([fit.line.scatter**2 for fit in fits])))
    return replace(first, levels=levels, line=replace(first.line, scatter=scatter))


def test_the_seasons_asked_for_give_the_chance_that_is_promised():
    """Within five points of 80 %. Chance fails this in fewer than one of 10,000 draws of seeds at
    either end (binomial law); the seeds are fixed."""
    needed = needed_effort(mean_of([fitted(SETTING, 1, k) for k in range(PILOTS)]))
    assert 4 <= needed.years <= 12
    longer = replace(SETTING, years=SETTING.years + needed.years)
    seen = sum(fitted(longer, 2, k).line.limits[1] < 0 for k in range(PROGRAMS))
    low, high = binom.ppf(1e-4, PROGRAMS, 0.75), binom.isf(1e-4, PROGRAMS, 0.85)
    assert low <= seen <= high
