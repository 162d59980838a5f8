"""What may have been missed in a region where a species was never heard.

In a season the share of its sites is at most that at which hearing nothing has a chance of one in
twenty: for many sites at which it cannot be missed, 3 divided by their number (Hanley &
Lippman-Hand 1983, JAMA 249:1743-1745; from memory). How surely it is heard where it is, and how
alike the stops of a route are, come from the regions where it was heard. Stops that are alike count
as fewer: their number by the design effect (Kish 1965, Survey Sampling, ch. 8; from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from surveys.trends.effects import highest_silent_share
from surveys.trends.histories import Histories
from surveys.trends.models.occupancy import OccupancyFit, visit_chances
from surveys.trends.models.strata import Stratum
from surveys.trends.models.year_levels import YearLevels
from surveys.trends.numerics.arrays import FloatArray


@dataclass(frozen=True, kw_only=True)
class SurveyedRegion:
    """A stratum with the histories behind it, and the model of detection that was fitted there."""

    stratum: Stratum
    histories: Histories
    fit: OccupancyFit


def with_missed(regions: Sequence[SurveyedRegion]) -> tuple[Stratum, ...]:
    """The strata; those that are silent with upper limits of their yearly shares."""
    heard = [region for region in regions if not region.stratum.silent]
    if not heard:
        return tuple(region.stratum for region in regions)
    chances = np.concatenate([_visit_chances(region.fit) for region in heard])
    chance = float(chances.mean()) if len(chances) else 0.0
    alike = max(_design_effect(region.stratum.levels) for region in heard)
    return tuple(
        replace(region.stratum, most=_highest_shares(region, chance=chance, alike=alike))
        if region.stratum.silent
        else region.stratum
        for region in regions
    )


def _visit_chances(fit: OccupancyFit) -> FloatArray:
    """Of the visits that were made, one after another."""
    chances = np.where(np.isnan(fit.history), np.nan, visit_chances(fit))
    known: FloatArray = chances[~np.isnan(chances)]
    return known


def _design_effect(levels: YearLevels) -> float:
    """How many times the variance of a level is what it would be were the rows independent."""
    if levels.covariance is None:
        return 1.0
    return max(1.0, float(np.mean(np.diag(levels.covariance) * levels.information)))


def _highest_shares(region: SurveyedRegion, *, chance: float, alike: float) -> FloatArray:
    """Of each season year of the stratum."""
    histories = region.histories
    visits = (~np.isnan(histories.detected)).sum(axis=1)
    shares = []
    for year in region.stratum.levels.years.tolist():
        rows = (histories.season_year == year) & (visits > 0)
        routes = len(np.unique(histories.cluster[rows]))
        shares.append(
            highest_silent_share(
                1 - (1 - chance) ** visits[rows], alike=min(alike, rows.sum() / routes)
            )
        )
    return np.array(shares)
