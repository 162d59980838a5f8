"""From listening periods to detection histories.

A listening period is one stop on one visit. A stop that was not reached has no record, or one
without an index, and stays missing in every array: it never becomes a zero.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Literal

import numpy as np

from surveys.trends.numerics.arrays import AnyArray, BoolArray, FloatArray, IntArray, numbered

HIGHEST_INDEX = 3
Site = Literal["stop", "route"]


@dataclass(frozen=True, kw_only=True, slots=True)
class ListeningPeriod:
    """One species at one stop on one visit.

    ``call_index`` is 0 to 3, or None when unknown; ``detected`` may say heard or not heard where
    no index was written down. Both None means the stop was not reached or not listened to.
    ``night`` is the local date on which the evening began. ``visit_number`` counts visits of a
    route in a season from 1; None numbers them by night.
    """

    route: str
    stop: str
    season_year: int
    night: date
    call_index: int | None = None
    detected: bool | None = None
    visit_number: int | None = None
    covariates: Mapping[str, float | None] = field(default_factory=dict)

    def __post_init__(self) -> None:
        where = f"route {self.route}, stop {self.stop}, {self.night}"
        if self.call_index is not None and self.call_index not in range(HIGHEST_INDEX + 1):
            raise ValueError(f"{where}: call index must be 0, 1, 2 or 3, got {self.call_index}")
        if self.visit_number is not None and self.visit_number < 1:
            raise ValueError(f"{where}: visit numbers count from 1, got {self.visit_number}")
        if self.call_index is not None and self.detected not in (None, self.call_index > 0):
            raise ValueError(
                f"{where}: index {self.call_index} contradicts detected={self.detected}"
            )

    @property
    def heard(self) -> bool | None:
        """Whether the species was heard; None when nobody listened."""
        return self.detected if self.call_index is None else self.call_index > 0


@dataclass(frozen=True, kw_only=True)
class PeriodColumns:
    """Listening periods of one species as parallel arrays, one entry a period.

    ``call_index`` and ``heard`` are floats with NaN for missing; ``night`` is an ordinal day
    (``date.toordinal``). Labels of routes and stops may be strings or integers. ``certain`` marks
    detections that somebody confirmed, ``checked`` those of which people who had not seen the sheet
    heard a recording; None where there was none. ``way`` tells apart the rules under
    which periods were listened to: equal numbers, equal rules; None where they are all the same.
    ``first_season`` marks periods of observers in their first season year; None where nobody knows.
    """

    route: AnyArray
    stop: AnyArray
    season_year: IntArray
    night: IntArray
    visit_number: IntArray
    call_index: FloatArray
    heard: FloatArray
    covariates: Mapping[str, FloatArray] = field(default_factory=dict)
    certain: BoolArray | None = None
    checked: BoolArray | None = None
    way: IntArray | None = None
    first_season: BoolArray | None = None

    def __post_init__(self) -> None:
        n = len(self.route)
        arrays = {
            "stop": self.stop,
            "season_year": self.season_year,
            "night": self.night,
            "visit_number": self.visit_number,
            "call_index": self.call_index,
            "heard": self.heard,
            **self.covariates,
            **{
                name: array
                for name, array in (
                    ("certain", self.certain),
                    ("checked", self.checked),
                    ("way", self.way),
                    ("first_season", self.first_season),
                )
                if array is not None
            },
        }
        for name, array in arrays.items():
            if array.shape != (n,):
                raise ValueError(
                    f"{name}: expected {n} values, one a period, got shape {array.shape}"
                )
        if n and self.visit_number.min() < 1:
            raise ValueError("visit_number: visits count from 1")


@dataclass(frozen=True, kw_only=True)
class Histories:
    """Detection histories, one row a site and season.

    ``detected`` is (rows, visits) of 0, 1 and NaN; ``call_index`` likewise of 0 to 3 and NaN;
    ``certain`` (rows, visits) marks confirmed detections, ``checked`` those that somebody heard
    again without the sheet, None where there is none;
    ``night`` holds ordinal days, NaN where missing. ``cluster`` is the route of each row, the
    unit that is independent of the others. Site covariates are (rows,), visit covariates
    (rows, visits).
    """

    site: AnyArray
    cluster: AnyArray
    season_year: IntArray
    detected: FloatArray
    call_index: FloatArray
    night: FloatArray
    site_covariates: Mapping[str, FloatArray] = field(default_factory=dict)
    visit_covariates: Mapping[str, FloatArray] = field(default_factory=dict)
    certain: BoolArray | None = None
    checked: BoolArray | None = None


def take(periods: PeriodColumns, kept: BoolArray | IntArray) -> PeriodColumns:
    """Some listening periods, by a mask or by their positions."""
    return PeriodColumns(
        route=periods.route[kept],
        stop=periods.stop[kept],
        season_year=periods.season_year[kept],
        night=periods.night[kept],
        visit_number=periods.visit_number[kept],
        call_index=periods.call_index[kept],
        heard=periods.heard[kept],
        covariates={name: values[kept] for name, values in periods.covariates.items()},
        certain=None if periods.certain is None else periods.certain[kept],
        checked=None if periods.checked is None else periods.checked[kept],
        way=None if periods.way is None else periods.way[kept],
        first_season=None if periods.first_season is None else periods.first_season[kept],
    )


def columns_from_records(records: Iterable[ListeningPeriod]) -> PeriodColumns:
    """Listening periods as parallel arrays.

    Parameters
    ----------
    records
        Listening periods of one species. Visits without a number are numbered by night within their
        route and season year.

    Returns
    -------
    PeriodColumns
        One entry a listening period, in the order given; labels of routes and stops are strings.

    Examples
    --------
    >>> from datetime import date
    >>> night = date(2024, 4, 12)
    >>> columns = columns_from_records(
    ...     [
    ...         ListeningPeriod(route="A", stop="1", season_year=2024, night=night, call_index=2),
    ...         ListeningPeriod(route="A", stop="2", season_year=2024, night=night),
    ...     ]
    ... )
    >>> columns.heard.tolist(), columns.visit_number.tolist()
    ([1.0, nan], [1, 1])
    """
    rows = list(records)
    names = sorted({name for row in rows for name in row.covariates})
    nights: dict[tuple[str, int], set[date]] = {}
    for row in rows:
        nights.setdefault((row.route, row.season_year), set()).add(row.night)
    order = {
        (*key, night): number
        for key, dates in nights.items()
        for number, night in enumerate(sorted(dates), start=1)
    }
    return PeriodColumns(
        route=np.array([row.route for row in rows], dtype=np.str_),
        stop=np.array([row.stop for row in rows], dtype=np.str_),
        season_year=np.array([row.season_year for row in rows], dtype=np.int64),
        night=np.array([row.night.toordinal() for row in rows], dtype=np.int64),
        visit_number=np.array(
            [row.visit_number or order[row.route, row.season_year, row.night] for row in rows],
            dtype=np.int64,
        ),
        call_index=_optional([row.call_index for row in rows]),
        heard=_optional([row.heard for row in rows]),
        covariates={name: _optional([row.covariates.get(name) for row in rows]) for name in names},
    )


def build_histories(
    periods: PeriodColumns,
    *,
    site: Site = "stop",
    site_covariates: Mapping[str, Mapping[str, float]] | None = None,
) -> Histories:
    """Detection histories of one species, one row a site and season year.

    Parameters
    ----------
    periods
        Listening periods of the species.
    site
        With ``"stop"`` a row is a stop in a season. With ``"route"`` it is a route in a season,
        heard when any stop of the visit heard it; its index is the highest, its covariates are
        means.
    site_covariates
        A covariate's value for each site label, by name of the covariate; a site without one gets
        NaN.

    Returns
    -------
    Histories
        Sites are labeled by stop where stop labels are unique, else ``route/stop``.

    Raises
    ------
    ValueError
        When two nights share one visit number of a site, or ``site`` is another word.

    Examples
    --------
    >>> from datetime import date
    >>> first, second = date(2024, 4, 12), date(2024, 5, 20)
    >>> place = {"route": "A", "stop": "A1", "season_year": 2024}
    >>> periods = columns_from_records(
    ...     [
    ...         ListeningPeriod(**place, night=first, call_index=0),
    ...         ListeningPeriod(**place, night=second, call_index=3),
    ...     ]
    ... )
    >>> build_histories(periods).detected.tolist()
    [[0.0, 1.0]]
    """
    if site not in ("stop", "route"):
        raise ValueError(f"site: expected 'stop' or 'route', got {site!r}")
    listened = ~np.isnan(periods.heard)
    route_labels, route_codes = numbered(periods.route)
    if site == "route":
        labels, place = route_labels, route_codes
    else:
        stop_labels, stop_codes = numbered(periods.stop)
        # "Stop 1" may exist on every route: a stop is known by its route and its own label.
        pairs, place = numbered(route_codes * max(len(stop_labels), 1) + stop_codes)
        labels = _stop_labels(route_labels, stop_labels, pairs)
    years, year_codes = numbered(periods.season_year)
    rows, row = numbered(place * max(len(years), 1) + year_codes)
    visits = int(periods.visit_number.max()) if len(periods.visit_number) else 0
    shape = (len(rows), visits)
    at = (row[listened], periods.visit_number[listened] - 1)

    night = _reduce(np.fmax, shape, at, periods.night[listened].astype(np.float64))
    earliest = _reduce(np.fmin, shape, at, periods.night[listened].astype(np.float64))
    site_labels = labels[rows // max(len(years), 1)]
    if np.any(night > earliest):
        r, v = np.argwhere(night > earliest)[0]
        raise ValueError(
            f"site {site_labels[r]}: visit {v + 1} holds two nights; number visits apart"
        )
    cluster = np.empty(len(rows), dtype=route_labels.dtype)
    cluster[row] = periods.route
    return Histories(
        site=site_labels,
        cluster=cluster,
        season_year=years[rows % max(len(years), 1)].astype(np.int64),
        detected=_reduce(np.fmax, shape, at, periods.heard[listened]),
        call_index=_reduce(np.fmax, shape, at, periods.call_index[listened]),
        night=night,
        site_covariates={
            name: np.array(
                [values.get(label, np.nan) for label in site_labels.tolist()], dtype=np.float64
            )
            for name, values in (site_covariates or {}).items()
        },
        visit_covariates={
            name: _mean(shape, at, values[listened]) for name, values in periods.covariates.items()
        },
        certain=_marked(shape, at, periods.certain, listened),
        checked=_marked(shape, at, periods.checked, listened),
    )


def select_rows(histories: Histories, rows: AnyArray) -> Histories:
    """Some rows of detection histories.

    Parameters
    ----------
    histories
        Detection histories.
    rows
        A mask (rows,), or row numbers.

    Returns
    -------
    Histories
        The rows that were picked, with their covariates.

    Examples
    --------
    >>> import numpy as np
    >>> heard = np.array([[0.0, 1.0], [1.0, 1.0]])
    >>> histories = Histories(
    ...     site=np.array(["A1", "A1"]),
    ...     cluster=np.array(["A", "A"]),
    ...     season_year=np.array([2023, 2024]),
    ...     detected=heard,
    ...     call_index=heard,
    ...     night=np.zeros((2, 2)),
    ... )
    >>> select_rows(histories, histories.season_year == 2024).detected.tolist()
    [[1.0, 1.0]]
    """
    return Histories(
        site=histories.site[rows],
        cluster=histories.cluster[rows],
        season_year=histories.season_year[rows],
        detected=histories.detected[rows],
        call_index=histories.call_index[rows],
        night=histories.night[rows],
        site_covariates={name: values[rows] for name, values in histories.site_covariates.items()},
        visit_covariates={
            name: values[rows] for name, values in histories.visit_covariates.items()
        },
        certain=None if histories.certain is None else histories.certain[rows],
        checked=None if histories.checked is None else histories.checked[rows],
    )


def _stop_labels(routes: AnyArray, stops: AnyArray, pairs: AnyArray) -> AnyArray:
    route, stop = pairs // max(len(stops), 1), pairs % max(len(stops), 1)
    if len(pairs) == len(stops):
        unique: AnyArray = stops[stop]
        return unique
    texts = [f"{routes[r]}/{stops[s]}" for r, s in zip(route.tolist(), stop.tolist(), strict=True)]
    return np.array(texts, dtype=np.str_)


def _optional(values: list[int | None] | list[bool | None] | list[float | None]) -> FloatArray:
    return np.array(
        [np.nan if value is None else float(value) for value in values], dtype=np.float64
    )


def _marked(
    shape: tuple[int, int],
    at: tuple[AnyArray, AnyArray],
    marks: BoolArray | None,
    listened: BoolArray,
) -> BoolArray | None:
    """Whether any of what was listened to has the mark, (rows, visits)."""
    if marks is None:
        return None
    return _reduce(np.fmax, shape, at, marks[listened].astype(np.float64)) > 0


def _reduce(
    ufunc: np.ufunc, shape: tuple[int, int], at: tuple[AnyArray, AnyArray], values: FloatArray
) -> FloatArray:
    out = np.full(shape[0] * shape[1], np.nan)
    ufunc.at(out, at[0] * shape[1] + at[1], values)
    return out.reshape(shape)


def _mean(shape: tuple[int, int], at: tuple[AnyArray, AnyArray], values: FloatArray) -> FloatArray:
    known = ~np.isnan(values)
    where, size = (at[0] * shape[1] + at[1])[known], shape[0] * shape[1]
    total = np.bincount(where, weights=values[known], minlength=size)
    count = np.bincount(where, minlength=size)
    return np.where(count > 0, total / np.maximum(count, 1.0), np.nan).reshape(shape)
