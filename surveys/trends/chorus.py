"""The trend of the call index: the share of stops with full chorus, and the odds of any higher
index, over the seasons that carry a line."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from surveys.trends import estimates
from surveys.trends.breaks import steps_within, told_years
from surveys.trends.estimates import Estimate, merge_flags
from surveys.trends.models.call_index import HIGHEST
from surveys.trends.models.chorus_levels import fit_chorus_levels
from surveys.trends.models.year_levels import fit_year_levels
from surveys.trends.models.year_slope import slope_over_years
from surveys.trends.models.year_trend import YearTrend, size_flags, summarize_year_trend
from surveys.trends.species_result import ChorusTrend
from surveys.trends.told_trend import TrendData

METHOD = "full-chorus-line"


def chorus_trend(data: TrendData, *, flags: tuple[str, ...] = ()) -> ChorusTrend:
    """What is told of the call index, from the rows that the trend of the share of sites rests on;
    ``flags`` stand with it too. Where full chorus alone, heard or not, has an interval that leaves
    out the change of the ordered model, the odds of its steps do not change alike.

    Visits are taken as equally good: neither weather nor night is in the model.
    """
    histories = data.histories
    listened = ~np.isnan(histories.call_index).all(axis=1)
    years = np.unique(histories.season_year[listened]).tolist()
    told = told_years(years, data.breaks.years)
    rows = np.isin(histories.season_year, told) & listened
    steps = steps_within(told, data.breaks.years)
    index, year, route = (
        values[rows] for values in (histories.call_index, histories.season_year, histories.cluster)
    )
    levels = fit_chorus_levels(index, year, route, sites=histories.site[rows])
    unknown = np.isnan(index) & (histories.detected[rows] > 0)
    own = merge_flags(
        levels.flags,
        size_flags(levels, by_route=data.site == "route"),
        () if len(told) == len(years) else (estimates.YEARS_LEFT_OUT,),
        (estimates.INDEX_UNKNOWN,) if unknown.any() else (),
    )
    line = None
    if estimates.TOO_FEW_DATA not in own:
        line = slope_over_years(levels, breaks=steps)
        alone = np.where(np.isnan(index), np.nan, index == HIGHEST)
        by_itself = slope_over_years(fit_year_levels(alone, year, route), breaks=steps)
        if line is None:
            own = merge_flags(own, (estimates.TOO_FEW_DATA,))
        elif by_itself is None or not by_itself.limits[0] < line.slope < by_itself.limits[1]:
            own = merge_flags(own, (estimates.STEPS_DIFFER,))
    change = summarize_year_trend(
        YearTrend(levels=levels, line=line, pooled=line, flags=merge_flags(own, flags))
    )

    def named(estimate: Estimate, name: str) -> Estimate:
        return replace(estimate, name=name, method=METHOD)

    return ChorusTrend(
        full_chorus=named(change.occupancy, "% change in share of sites with full chorus per year"),
        index_odds=named(change.odds, "% change in odds of a higher call index per year"),
    )
