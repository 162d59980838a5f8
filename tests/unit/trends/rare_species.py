"""A rare species that is heard equally well at all of its stops, in few of its visits."""

import numpy as np
from scipy.special import expit

from surveys.trends.histories import Histories, PeriodColumns
from surveys.trends.periods import SpeciesPeriods

ROUTES, STOPS, YEARS, VISITS = 20, 8, 12, 3


def rare_species(seed):
    """Histories and the covariates of its visits: one in twelve stops has it, most routes are run
    once or twice a season, and it calls about one night of the season, the more the warmer."""
    rng = np.random.default_rng(seed)
    there = rng.random((ROUTES * STOPS, YEARS)) < 1 / 12
    shape = (ROUTES, YEARS, VISITS)
    night, temperature = np.sort(rng.normal(0, 1, shape), axis=2), rng.normal(0, 4, shape)
    made = np.arange(VISITS) < rng.choice([1, 2, 3], p=[0.3, 0.6, 0.1], size=shape[:2])[..., None]
    chance = expit(0.1 * temperature - (night - 0.2) ** 2)
    heard = rng.random((ROUTES * STOPS, YEARS, VISITS)) < np.repeat(chance, STOPS, axis=0)
    history = np.where(np.repeat(made, STOPS, axis=0), heard & there[:, :, None], np.nan)
    history = history.reshape(-1, VISITS)
    rows = np.arange(len(history))
    histories = Histories(
        site=rows // YEARS,
        cluster=rows // YEARS // STOPS,
        season_year=2011 + rows % YEARS,
        detected=history,
        call_index=history,
        night=np.full(history.shape, np.nan),
    )
    nights, warmth = (
        np.repeat(of, STOPS, axis=0).reshape(-1, VISITS) for of in (night, temperature)
    )
    return histories, {"night": nights, "night squared": nights**2, "temperature": warmth}


def rare_periods(seed):
    """The same as listening periods."""
    histories, covariates = rare_species(seed)
    row, visit = np.nonzero(~np.isnan(histories.detected))
    year, heard = histories.season_year[row], histories.detected[row, visit]
    columns = PeriodColumns(
        route=histories.cluster[row],
        stop=histories.site[row],
        season_year=year,
        night=365 * year + 30 * visit,
        visit_number=visit + 1,
        call_index=heard,
        heard=heard,
        covariates={name: values[row, visit] for name, values in covariates.items()},
    )
    in_season = np.ones(len(row), dtype=bool)
    return SpeciesPeriods(columns=columns, day=30 * visit, in_season=in_season, stops={})
