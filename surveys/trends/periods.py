"""The listening periods of a whole program, and of one species out of them.

A zero exists for a species at a stop that was listened to while the species was on the checklist
and has no call row; a call row that does not count makes the species missing there.
"""

from __future__ import annotations

import datetime as dt
import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from surveys.trends.breaks import InUse
from surveys.trends.histories import PeriodColumns, take
from surveys.trends.numerics.arrays import AnyArray, BoolArray, FloatArray, IntArray

# A day of the year as (month, day).
MonthDay = tuple[int, int]
Fact = TypeVar("Fact")
# What was done to wetlands: by kind, the first night after it at each stop, an ordinal day.
Changes = Mapping[str, Mapping[int, int]]

# Words of the sheet as ordered amounts; what is not among them is missing.
WATER = {"dry": 0.0, "pools": 1.0, "full": 2.0}
# By what noise does to hearing; steps of one scale.
NOISE = {"quiet": 0.0, "heard_through": 1.0, "faint_lost": 2.0, "loud_only": 3.0, "all_lost": 4.0}
# Rain too little to measure, in mm: half of what a gauge shows first, 0.1 mm (common practice,
# no source). It is told apart from no rain and from a blank, and weighs nearly as no rain.
TRACE_OF_RAIN_MM = 0.05
# How a route was chosen, where that biases its trend.
HEARD = "heard"
HYDROPERIOD = {"weeks": 0.0, "season": 1.0, "most_years": 2.0, "always": 3.0}


@dataclass(frozen=True, kw_only=True)
class Listed:
    """A species on the checklist: since when, until when, and the first and last day of the
    season in which it calls (None when it may call at any time)."""

    since: dt.date | None
    until: dt.date | None
    season: tuple[MonthDay, MonthDay] | None


@dataclass(frozen=True, kw_only=True)
class Heard:
    """The call rows of one species: positions of their periods, and the index, NaN where the
    row makes the species missing. `certain` marks those that somebody confirmed by ear, `checked`
    those of which people who did not see the sheet have heard a recording."""

    at: IntArray
    index: FloatArray
    certain: BoolArray | None = None
    checked: BoolArray | None = None


@dataclass(frozen=True, kw_only=True)
class ProgramPeriods:
    """All listening periods of a program that count; `columns` has no species yet, its call
    index and heard are zeros. `day` counts from the first day of the season year. `stops` says
    what is known of stops: `habitat`, `hydroperiod` and `fish`, each by stop id; `in_use` their
    first and last night. `chosen` says how each route was chosen, by route id. `open_year` is the
    season year whose windows are not over, if any. `unnamed_years` are season years whose records
    say too little of a species in a group to fit them. `weights` are those of the regions in the
    whole program, empty where it gives none. `changes` says what was done to wetlands: the first
    night after it as an ordinal day, by kind of change and stop id."""

    columns: PeriodColumns
    day: IntArray
    region: NDArray[np.str_]
    heard: Mapping[int, Heard]
    listed: Mapping[int, Listed]
    stops: Mapping[str, Mapping[int, str]]
    in_use: Mapping[int, InUse] = field(default_factory=dict)
    chosen: Mapping[int, str] = field(default_factory=dict)
    open_year: int | None = None
    unnamed_years: Mapping[int, frozenset[int]] = field(default_factory=dict)
    weights: Mapping[str, float] = field(default_factory=dict)
    changes: Changes = field(default_factory=dict)

    @property
    def regions(self) -> list[str]:
        return [str(region) for region in np.unique(self.region) if region]


@dataclass(frozen=True, kw_only=True)
class SpeciesPeriods:
    """The listening periods of one species: all that the yearly table counts, and in
    `in_season` (a mask over them) those of its calling season, in the
    years that are fitted. `stops`, `in_use`, `chosen` and `changes` are the program's, for the
    stops and routes among them. `open_year` is the season year among them that is not over, if any.
    With `weights` of regions, `region` has that of every period."""

    columns: PeriodColumns
    day: IntArray
    in_season: BoolArray
    stops: Mapping[str, Mapping[int, str]]
    in_use: Mapping[int, InUse] = field(default_factory=dict)
    chosen: Mapping[int, str] = field(default_factory=dict)
    open_year: int | None = None
    region: NDArray[np.str_] | None = None
    weights: Mapping[str, float] = field(default_factory=dict)
    changes: Changes = field(default_factory=dict)

    @property
    def sha256(self) -> str:
        """Checksum of everything that goes into a fit."""
        digest = hashlib.sha256()
        columns = self.columns
        arrays = [
            columns.route,
            columns.stop,
            columns.season_year,
            columns.night,
            columns.visit_number,
            columns.call_index,
            columns.heard,
            self.day,
            self.in_season,
            *(values for _, values in sorted(columns.covariates.items())),
            *(
                array
                for array in (
                    columns.certain,
                    columns.checked,
                    columns.way,
                    columns.first_season,
                )
                if array is not None
            ),
        ]
        for array in arrays:
            digest.update(np.ascontiguousarray(array).tobytes())
            digest.update(b"|")
        for name, values in sorted(self.stops.items()):
            digest.update(repr((name, sorted(values.items()))).encode())
        if self.weights and self.region is not None:
            digest.update(repr((sorted(self.weights.items()), self.region.tolist())).encode())
        for kind, changed in sorted(self.changes.items()):
            digest.update(repr((kind, sorted(changed.items()))).encode())
        digest.update(
            repr(
                (sorted(self.in_use.items()), sorted(self.chosen.items()), self.open_year)
            ).encode()
        )
        return digest.hexdigest()


def species_periods(
    periods: ProgramPeriods, species_id: int, *, region: str = ""
) -> SpeciesPeriods:
    """The listening periods of a species on the program's checklist; KeyError for another.

    Night and night squared stand among the covariates, in tens of days from the middle of the
    nights listened to.
    """
    entry, columns = periods.listed[species_id], periods.columns
    heard, index = np.zeros(len(columns.route)), np.zeros(len(columns.route))
    certain, checked = np.zeros((2, len(heard)), dtype=np.bool_)
    calls = periods.heard.get(species_id)
    if calls is not None:
        index[calls.at] = calls.index
        heard[calls.at] = np.where(np.isnan(calls.index), np.nan, 1.0)
        if calls.certain is not None:
            certain[calls.at] = calls.certain & ~np.isnan(calls.index)
        if calls.checked is not None:
            checked[calls.at] = calls.checked & ~np.isnan(calls.index)
    listed = ~np.isnan(heard)
    if entry.since:
        listed &= columns.night >= entry.since.toordinal()
    if entry.until:
        listed &= columns.night <= entry.until.toordinal()
    if region:
        listed &= periods.region == region
    own = take(replace(columns, call_index=index, heard=heard), listed)
    day = periods.day[listed]
    unnamed = sorted(periods.unnamed_years.get(species_id, ()))
    in_season = _in_season(own.night, entry.season) & ~np.isin(own.season_year, unnamed)
    about = day[in_season]
    offset = (day - (np.median(about) if len(about) else 0.0)) / 10
    return SpeciesPeriods(
        columns=replace(
            own,
            covariates={**own.covariates, "night": offset, "night squared": offset**2},
            certain=certain[listed] if certain[listed].any() else None,
            checked=checked[listed] if checked[listed].any() else None,
        ),
        day=day,
        in_season=in_season,
        stops=_known_of(periods.stops, own.stop),
        in_use=_known_of({"": periods.in_use}, own.stop)[""],
        chosen=_known_of({"": periods.chosen}, own.route)[""],
        open_year=periods.open_year if periods.open_year in own.season_year else None,
        region=periods.region[listed] if periods.weights and not region else None,
        weights={} if region else periods.weights,
        changes=_known_of(periods.changes, own.stop),
    )


def in_region(periods: SpeciesPeriods, region: str) -> SpeciesPeriods:
    """The listening periods in one of the regions that have weights."""
    if periods.region is None:
        raise ValueError("periods: expected those of a program whose regions have weights")
    kept = periods.region == region
    columns = take(periods.columns, kept)
    return replace(
        periods,
        columns=columns,
        day=periods.day[kept],
        in_season=periods.in_season[kept],
        stops=_known_of(periods.stops, columns.stop),
        in_use=_known_of({"": periods.in_use}, columns.stop)[""],
        chosen=_known_of({"": periods.chosen}, columns.route)[""],
        open_year=periods.open_year if periods.open_year in columns.season_year else None,
        region=None,
        weights={},
        changes=_known_of(periods.changes, columns.stop),
    )


def _known_of(
    stops: Mapping[str, Mapping[int, Fact]], present: AnyArray
) -> dict[str, dict[int, Fact]]:
    present_stops = set(np.unique(present).tolist())
    return {
        name: {stop: value for stop, value in values.items() if stop in present_stops}
        for name, values in stops.items()
    }


def calling_season(periods: SpeciesPeriods) -> PeriodColumns:
    """The listening periods of the calling season only.

    Outside it silence says nothing of whether the species is there.
    """
    return take(periods.columns, periods.in_season)


def _in_season(nights: IntArray, season: tuple[MonthDay, MonthDay] | None) -> BoolArray:
    if season is None:
        return np.ones(len(nights), dtype=np.bool_)
    distinct, place = np.unique(nights, return_inverse=True)
    inside = [_in_days(dt.date.fromordinal(night), *season) for night in distinct.tolist()]
    within: BoolArray = np.array(inside, dtype=np.bool_)[place]
    return within


def _in_days(night: dt.date, first: MonthDay, last: MonthDay) -> bool:
    """Whether a night lies in the days of the year, both ends included; they may hold New Year."""
    day = (night.month, night.day)
    return first <= day <= last if first <= last else day >= first or day <= last
