"""The yearly table: one row a species and season year.

Rows come either from listening periods or from counts that were added up elsewhere; both ways
end in ``year_row``, so they cannot disagree.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, fields
from datetime import date

import numpy as np

from surveys.trends.estimates import INDEX_UNKNOWN, NEVER_HEARD, TOO_FEW_DATA
from surveys.trends.histories import (
    HIGHEST_INDEX,
    ListeningPeriod,
    PeriodColumns,
    columns_from_records,
)
from surveys.trends.numerics.arrays import FloatArray, IntArray, numbered
from surveys.trends.numerics.intervals import check_counts, wilson

# Common practice, no source: below ten stops a share says little about a program.
FEWEST_STOPS = 10


@dataclass(frozen=True, kw_only=True)
class YearCounts:
    """What was added up for one species and season year.

    ``stops_at_index`` counts stops by their highest call index of the season, for index 1, 2, 3.
    A stop heard without any index is counted in ``stops_detected`` only.
    """

    species: str
    season_year: int
    routes: int
    stops: int
    visits: int
    periods: int
    stops_detected: int
    stops_at_index: tuple[int, int, int]
    first_night: date | None = None
    last_night: date | None = None


@dataclass(frozen=True, kw_only=True)
class YearRow:
    """One row of the yearly table; ``columns.COLUMNS`` says what each field means."""

    species: str
    season_year: int
    routes: int
    stops: int
    visits: int
    periods: int
    stops_detected: int
    naive_occupancy: float | None
    naive_low: float | None
    naive_high: float | None
    share_index_1: float | None
    share_index_2: float | None
    share_index_3: float | None
    mean_index: float | None
    first_night: date | None
    last_night: date | None
    flags: tuple[str, ...]


def year_row(counts: YearCounts, *, level: float = 0.95) -> YearRow:
    """The row of the yearly table for counts that are already added up.

    Parameters
    ----------
    counts
        What was added up for one species and season year.
    level
        Confidence level of the interval of the naive occupancy.

    Returns
    -------
    YearRow
        Shares are from 0 to 1 and of the stops listened to; None where there were none.

    Raises
    ------
    ValueError
        When the counts contradict each other.

    Examples
    --------
    >>> counts = YearCounts(
    ...     species="Pseudacris crucifer", season_year=2024, routes=4, stops=40, visits=12,
    ...     periods=118, stops_detected=10, stops_at_index=(4, 4, 2),
    ... )
    >>> row = year_row(counts)
    >>> row.naive_occupancy, row.share_index_3, row.mean_index
    (0.25, 0.05, 0.45)
    """
    _check_year_counts(counts)
    naive = wilson(counts.stops_detected, counts.stops, level=level)
    flags = list(naive.flags)
    shares: list[float | None] = [None] * HIGHEST_INDEX
    mean_index = None
    if counts.stops:
        shares = [count / counts.stops for count in counts.stops_at_index]
        mean_index = sum(k * n for k, n in enumerate(counts.stops_at_index, start=1)) / counts.stops
        if counts.stops < FEWEST_STOPS:
            flags.append(TOO_FEW_DATA)
        if counts.stops_detected == 0:
            flags.append(NEVER_HEARD)
        if sum(counts.stops_at_index) < counts.stops_detected:
            flags.append(INDEX_UNKNOWN)
    return YearRow(
        species=counts.species,
        season_year=counts.season_year,
        routes=counts.routes,
        stops=counts.stops,
        visits=counts.visits,
        periods=counts.periods,
        stops_detected=counts.stops_detected,
        naive_occupancy=naive.value,
        naive_low=naive.low,
        naive_high=naive.high,
        share_index_1=shares[0],
        share_index_2=shares[1],
        share_index_3=shares[2],
        mean_index=mean_index,
        first_night=counts.first_night,
        last_night=counts.last_night,
        flags=tuple(flags),
    )


def yearly_table(
    species: str, periods: PeriodColumns | Iterable[ListeningPeriod], *, level: float = 0.95
) -> tuple[YearRow, ...]:
    """The yearly table of one species, from its listening periods.

    Parameters
    ----------
    species
        Name of the species.
    periods
        Its listening periods, as records or as arrays.
    level
        Confidence level of the interval of the naive occupancy.

    Returns
    -------
    tuple of YearRow
        One row a season year, in order; season years in which nobody listened have no row.

    Examples
    --------
    >>> from datetime import date
    >>> place = {"route": "A", "stop": "A1", "season_year": 2024}
    >>> (row,) = yearly_table(
    ...     "Pseudacris crucifer",
    ...     [ListeningPeriod(**place, night=date(2024, 4, 12), call_index=2)],
    ... )
    >>> row.stops_detected, row.flags
    (1, ('too-few-data',))
    """
    columns = periods if isinstance(periods, PeriodColumns) else columns_from_records(periods)
    return tuple(year_row(counts, level=level) for counts in count_years(species, columns))


def count_years(species: str, periods: PeriodColumns) -> tuple[YearCounts, ...]:
    """Add up the listening periods of one species by season year.

    Parameters
    ----------
    species
        Name of the species.
    periods
        Its listening periods.

    Returns
    -------
    tuple of YearCounts
        In order of season years; those in which nobody listened are left out.

    Examples
    --------
    >>> from datetime import date
    >>> place = {"route": "A", "stop": "A1", "season_year": 2024}
    >>> periods = columns_from_records(
    ...     [
    ...         ListeningPeriod(**place, night=date(2024, 4, 12), call_index=0),
    ...         ListeningPeriod(**place, night=date(2024, 5, 20), call_index=3),
    ...     ]
    ... )
    >>> (counts,) = count_years("Pseudacris crucifer", periods)
    >>> counts.visits, counts.stops_at_index, counts.first_night
    (2, (0, 0, 1), datetime.date(2024, 5, 20))
    """
    listened = ~np.isnan(periods.heard)
    years, year = numbered(periods.season_year[listened])
    _, route = numbered(periods.route[listened])
    _, label = numbered(periods.stop[listened])
    night = periods.night[listened]
    heard = periods.heard[listened] > 0
    index = np.nan_to_num(periods.call_index[listened])

    stop_keys, stop = _distinct(year, route, label)
    _, visit = _distinct(year, route, night, periods.visit_number[listened])
    _, route_in_year = _distinct(year, route)
    best = np.zeros(len(stop_keys))
    np.maximum.at(best, stop, index)
    stop_heard = np.zeros(len(stop_keys), dtype=np.bool_)
    np.logical_or.at(stop_heard, stop, heard)
    stop_year = year[stop_keys]

    def per_year(codes: IntArray) -> IntArray:
        first = np.unique(codes, return_index=True)[1]
        return np.bincount(year[first], minlength=len(years))

    routes, visits = per_year(route_in_year), per_year(visit)
    stops = np.bincount(stop_year, minlength=len(years))
    by_index = [np.bincount(stop_year[best == k], minlength=len(years)) for k in (1, 2, 3)]
    detected = np.bincount(stop_year[stop_heard], minlength=len(years))
    totals = np.bincount(year, minlength=len(years))
    first, last = _nights_heard(year[heard], night[heard], len(years))
    return tuple(
        YearCounts(
            species=species,
            season_year=int(years[i]),
            routes=int(routes[i]),
            stops=int(stops[i]),
            visits=int(visits[i]),
            periods=int(totals[i]),
            stops_detected=int(detected[i]),
            stops_at_index=(int(by_index[0][i]), int(by_index[1][i]), int(by_index[2][i])),
            first_night=_as_date(first[i]),
            last_night=_as_date(last[i]),
        )
        for i in range(len(years))
    )


def row_values(row: YearRow) -> dict[str, object]:
    """A row of the yearly table as column name to value.

    Parameters
    ----------
    row
        A row of the yearly table.

    Returns
    -------
    dict
        In the order of ``columns.COLUMNS``; flags are one text, joined by semicolons.

    Examples
    --------
    >>> counts = YearCounts(
    ...     species="Pseudacris crucifer", season_year=2024, routes=1, stops=2, visits=1,
    ...     periods=2, stops_detected=0, stops_at_index=(0, 0, 0),
    ... )
    >>> values = row_values(year_row(counts))
    >>> values["naive_occupancy"], values["flags"]
    (0.0, 'too-few-data; never-heard')
    """
    values = {item.name: getattr(row, item.name) for item in fields(row)}
    values["flags"] = "; ".join(row.flags)
    return values


def _distinct(*keys: IntArray) -> tuple[IntArray, IntArray]:
    """Position of the first member of each group of equal keys, and the group of each entry."""
    code = np.zeros(len(keys[0]), dtype=np.int64)
    for key in keys:
        labels, codes = numbered(key)
        code = code * max(len(labels), 1) + codes
    _, first, group = np.unique(code, return_index=True, return_inverse=True)
    return first.astype(np.int64), group.astype(np.int64)


def _nights_heard(year: IntArray, night: IntArray, years: int) -> tuple[FloatArray, FloatArray]:
    first, last = np.full(years, np.nan), np.full(years, np.nan)
    np.fmin.at(first, year, night.astype(np.float64))
    np.fmax.at(last, year, night.astype(np.float64))
    return first, last


def nights_heard(periods: PeriodColumns) -> dict[int, tuple[date | None, date | None]]:
    """First and last night on which the species was heard, by season year with effort."""
    listened = ~np.isnan(periods.heard)
    years, year = numbered(periods.season_year[listened])
    heard = periods.heard[listened] > 0
    first, last = _nights_heard(year[heard], periods.night[listened][heard], len(years))
    return {
        label: (_as_date(begin), _as_date(end))
        for label, begin, end in zip(years.tolist(), first.tolist(), last.tolist(), strict=True)
    }


def _as_date(ordinal: float) -> date | None:
    return None if np.isnan(ordinal) else date.fromordinal(int(ordinal))


def _check_year_counts(counts: YearCounts) -> None:
    where = f"{counts.species}, {counts.season_year}"
    try:
        check_counts(counts.stops_detected, counts.stops)
    except ValueError as error:
        raise ValueError(f"{where}: stops: {error}") from error
    if min(counts.stops_at_index) < 0 or sum(counts.stops_at_index) > counts.stops_detected:
        raise ValueError(
            f"{where}: stops at index 1, 2 and 3 ({counts.stops_at_index}) cannot add up to more "
            f"than stops_detected ({counts.stops_detected})"
        )
    if (counts.first_night is None) != (counts.last_night is None):
        raise ValueError(f"{where}: first and last night must both be given or both be blank")
    if counts.first_night and counts.last_night and counts.first_night > counts.last_night:
        raise ValueError(f"{where}: first night {counts.first_night} is after {counts.last_night}")
