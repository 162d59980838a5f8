"""The invented program that examples in docstrings are worked out for."""

from collections.abc import Mapping

import numpy as np

from surveys.trends.histories import PeriodColumns
from surveys.trends.periods import SpeciesPeriods


def example_periods(
    stops: int = 100, *, weights: Mapping[str, float] | None = None
) -> SpeciesPeriods:
    """A species at six stops in ten, without a trend, heard on every other visit there.

    Parameters
    ----------
    stops
        Five of them are a route. Each is listened to on three visits in six years.
    weights
        Of the regions North, with the first 50 stops, and South. Without weights there are no
        regions.

    Returns
    -------
    SpeciesPeriods

    Examples
    --------
    >>> round(float(example_periods(60).columns.heard.mean()), 1)
    0.3
    """
    rng = np.random.default_rng(1)
    stop, year, visit = (axis.ravel() for axis in np.indices((stops, 6, 3)))
    heard = (rng.random((stops, 6)) < 0.6)[stop, year] & (rng.random(len(stop)) < 0.5)
    return SpeciesPeriods(
        columns=PeriodColumns(
            route=stop // 5,
            stop=stop,
            season_year=2019 + year,
            night=365 * (2019 + year) + 30 * visit,
            visit_number=visit + 1,
            call_index=heard.astype(float),
            heard=heard.astype(float),
        ),
        day=30 * visit,
        in_season=np.ones(len(stop), dtype=bool),
        stops={},
        region=np.where(stop < 50, "North", "South") if weights else None,
        weights=weights or {},
    )
