"""From a publication's tables to its results.

The tables are CSV files in a folder: ``regions``, ``checklist``, ``routes``, ``stops``,
``protocols``, ``seasons``, ``visits``, ``periods`` and ``calls``, as they are published. Whoever
has them arrives at the same numbers, to the last digit. A text cell that begins with an apostrophe
has one more than its text.
"""

from __future__ import annotations

import csv
import datetime as dt
from collections.abc import Callable, Collection, Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from surveys.trends.analysis import Parts, analyze
from surveys.trends.borrowed import with_borrowed
from surveys.trends.histories import PeriodColumns, Site
from surveys.trends.joint_entries import (
    JointEntry,
    ToldEntry,
    group_flags,
    told_entries,
    unnamed_years,
    with_flags,
)
from surveys.trends.null_run import RUNS, NullRun, null_run
from surveys.trends.null_whole import whole_null_run
from surveys.trends.numerics.arrays import FloatArray, IntArray
from surveys.trends.periods import (
    NOISE,
    TRACE_OF_RAIN_MM,
    WATER,
    Heard,
    Listed,
    MonthDay,
    ProgramPeriods,
    species_periods,
)
from surveys.trends.species_result import SpeciesResult
from surveys.trends.whole_program import weights_of

SITES: tuple[Site, ...] = ("stop", "route")
# Columns that had another name in publications from before.
_FORMER = {"noise": "noise_index"}
# Columns that publications from before lack; they read as blank.
_LATER = {"checked_by_ear"}


@dataclass(frozen=True, kw_only=True)
class FrozenPeriods:
    """`species` are the scientific names in the order of the checklist; `periods` knows each by
    its position, and each stop by its position among `stops`, their identifiers. `told` says of
    each joint entry whether it is told, or its members."""

    species: tuple[str, ...]
    periods: ProgramPeriods
    told: tuple[ToldEntry, ...]
    stops: tuple[str, ...] = ()


def read_periods(folder: Path) -> FrozenPeriods:
    """The listening periods of the tables in `folder`."""
    species, listed = _read_checklist(folder)
    names = {name: position for position, name in enumerate(species)}
    of_routes = list(read_columns(folder, "routes", "route", "region", "chosen"))
    regions = {route: region for route, region, _ in of_routes}
    routes = {route: position for position, route in enumerate(regions)}
    stops = list(
        read_columns(
            folder, "stops", "stop", "active_from", "active_until", "habitat", "hydroperiod", "fish"
        )
    )
    stop_at = {stop: position for position, (stop, *_) in enumerate(stops)}
    visits = {
        visit: rest
        for visit, *rest in read_columns(
            folder, "visits", "visit", "route", "season_year", "night", "visit_number", "day",
            "rain_48h", "rain_trace", "protocol", "protocol_version", "first_season",
        )
    }  # fmt: skip
    periods = list(
        read_columns(
            folder, "periods", "period", "visit", "stop", "air_temperature", "beaufort",
            "noise", "water_tonight", "minutes_after_sunset",
        )
    )  # fmt: skip
    at = {row[0]: position for position, row in enumerate(periods)}
    visit_of = [visits[row[1]] for row in periods]
    calls = _read_calls(folder)
    count = len(periods)
    columns = PeriodColumns(
        route=np.array([routes[visit[0]] for visit in visit_of], dtype=np.int64),
        stop=np.array([stop_at[row[2]] for row in periods], dtype=np.int64),
        season_year=np.array([int(visit[1]) for visit in visit_of], dtype=np.int64),
        night=np.array(
            [dt.date.fromisoformat(visit[2]).toordinal() for visit in visit_of], np.int64
        ),
        visit_number=np.array([int(visit[3]) for visit in visit_of], dtype=np.int64),
        call_index=np.zeros(count),
        heard=np.zeros(count),
        covariates={
            "temperature": _numbers(row[3] for row in periods),
            "wind": _numbers(row[4] for row in periods),
            "noise": np.array([_noise(row[5]) for row in periods], dtype=np.float64),
            "rain": _rain(visit[5:7] for visit in visit_of),
            "water": np.array([WATER.get(row[6], np.nan) for row in periods], dtype=np.float64),
            "minutes after sunset": _numbers(row[7] for row in periods),
        },
        way=_listening_of_versions(folder, [(visit[7], visit[8]) for visit in visit_of]),
        first_season=np.array([visit[9] == "true" for visit in visit_of], dtype=np.bool_),
    )
    years = (int(visit[1]) for visit in visit_of)
    records = _records(calls, dict(zip(at, years, strict=True)))
    told = told_entries(_read_joint_entries(folder), records)
    return FrozenPeriods(
        species=species,
        told=told,
        stops=tuple(stop_at),
        periods=ProgramPeriods(
            columns=columns,
            day=np.array([int(visit[4]) for visit in visit_of], dtype=np.int64),
            region=np.array([regions[visit[0]] for visit in visit_of], dtype=np.str_),
            heard=_heard(calls, at, names),
            listed=listed,
            stops={
                name: {stop_at[stop]: known[at] for stop, _, _, *known in stops}
                for at, name in enumerate(("habitat", "hydroperiod", "fish"))
            },
            in_use={
                stop_at[stop]: (_ordinal(since), _ordinal(until) if until else None)
                for stop, since, until, *_ in stops
            },
            chosen={routes[route]: chosen for route, _, chosen in of_routes},
            open_year=_open_year(folder),
            changes=_changes(folder, stop_at),
            weights={
                region: float(weight)
                for region, weight in read_columns(folder, "regions", "region", "weight")
            },
            unnamed_years={position: unnamed_years(name, told) for name, position in names.items()},
        ),
    )


def fit_species(
    frozen: FrozenPeriods, *, notify: Callable[[str, Site], None] = lambda species, site: None
) -> Iterator[tuple[str, Site, SpeciesResult]]:
    """The fits behind the tables of occupancy and of trends, by site and species; detection is
    borrowed where a species has none of its own.

    ``notify`` is called with each species and site before its fit begins.
    """
    parts = Parts(turnover=False, index=False, phenology=False)
    for site in SITES:
        results = []
        for position, name in enumerate(frozen.species):
            notify(name, site)
            periods = species_periods(frozen.periods, position)
            result = analyze(name, periods, site=site, parts=parts)
            results.append(with_flags(result, group_flags(name, frozen.told)))
        for name, result in zip(frozen.species, with_borrowed(results), strict=True):
            yield name, site, result


def null_runs(
    frozen: FrozenPeriods,
    told: Collection[str],
    *,
    whole_told: Collection[str] = (),
    runs: int = RUNS,
    notify: Callable[[str], None] = lambda species: None,
) -> Iterator[tuple[str, NullRun]]:
    """The null run of every species by stops, with that of the whole program where its regions have
    weights; of those that are not ``told`` none is made, nor one of the whole program of those that
    are not ``whole_told``.

    ``notify`` is called with each species before its run begins.
    """
    for position, name in enumerate(frozen.species):
        notify(name)
        none = NullRun(runs=0, fell=0, rose=0)
        periods = species_periods(frozen.periods, position)
        run = null_run(name, periods, runs=runs) if name in told else none
        if weights_of(periods):
            made = name in whole_told
            whole = whole_null_run(name, periods, runs=runs) if made else none
            run = replace(run, whole=whole)
        yield name, run


def read_columns(folder: Path, table: str, *names: str) -> Iterator[list[str]]:
    """The named columns of a table, as text."""
    with (folder / f"{table}.csv").open(encoding="utf-8", newline="") as file:
        lines = csv.reader(file)
        header = next(lines)
        places = [_place(header, name) for name in names]
        for line in lines:
            yield ["" if place is None else _text(line[place]) for place in places]


def _place(header: list[str], name: str) -> int | None:
    if name in _LATER and name not in header:
        return None
    return header.index(name if name in header else _FORMER.get(name, name))


def _ordinal(date: str) -> int:
    return dt.date.fromisoformat(date).toordinal()


def _open_year(folder: Path) -> int | None:
    years = [
        int(year)
        for year, is_open in read_columns(folder, "seasons", "season_year", "open")
        if is_open == "true"
    ]
    return max(years, default=None)


def _changes(folder: Path, stop_at: dict[str, int]) -> dict[str, dict[int, int]]:
    """By kind and stop, the first night after the first change of that kind; none in publications
    from before there was such a table."""
    if not (folder / "changes.csv").exists():
        return {}
    nights: dict[str, dict[int, int]] = {}
    for stop, kind, began, ended in read_columns(
        folder, "changes", "stop", "kind", "began", "ended"
    ):
        nights.setdefault(kind, {}).setdefault(stop_at[stop], _ordinal(ended or began) + 1)
    return nights


def _listening_of_versions(folder: Path, versions: list[tuple[str, str]]) -> IntArray:
    """The way of listening under each protocol version: equal texts, equal numbers."""
    numbers: dict[str, int] = {}
    way = {
        (protocol, version): numbers.setdefault(listening, len(numbers))
        for protocol, version, listening in read_columns(
            folder, "protocols", "protocol", "version", "listening"
        )
    }
    return np.array([way[version] for version in versions], dtype=np.int64)


def _noise(cell: str) -> float:
    """The step of the scale; tables from before have its number."""
    return float(cell) if cell.isdecimal() else NOISE.get(cell, np.nan)


def _text(cell: str) -> str:
    return cell[1:] if cell.startswith("'") else cell


def _numbers(cells: Iterator[str]) -> FloatArray:
    return np.array([float(cell) if cell else np.nan for cell in cells], dtype=np.float64)


def _rain(cells: Iterator[list[str]]) -> FloatArray:
    return np.array(
        [
            TRACE_OF_RAIN_MM if trace == "true" else float(amount) if amount else np.nan
            for amount, trace in cells
        ],
        dtype=np.float64,
    )


def _read_checklist(folder: Path) -> tuple[tuple[str, ...], dict[int, Listed]]:
    names, listed = [], {}
    rows = read_columns(
        folder, "checklist", "species", "listed_from", "listed_until", "calls_from", "calls_to"
    )
    for position, (name, since, until, first, last) in enumerate(rows):
        names.append(name)
        listed[position] = Listed(
            since=dt.date.fromisoformat(since) if since else None,
            until=dt.date.fromisoformat(until) if until else None,
            season=(_month_day(first), _month_day(last)) if first and last else None,
        )
    return tuple(names), listed


def _month_day(text: str) -> MonthDay:
    month, day = text.split("-")
    return int(month), int(day)


def _read_joint_entries(folder: Path) -> list[JointEntry]:
    rows = list(read_columns(folder, "checklist", "species", "members"))
    listed = {name for name, _ in rows}
    return [
        JointEntry(
            name=name, members=tuple(member for member in members.split("; ") if member in listed)
        )
        for name, members in rows
        if members
    ]


def _read_calls(folder: Path) -> list[list[str]]:
    """Rows that are no zeros: period, species, call index, the index written down for it, whether
    it was confirmed by ear, and whether people who had not seen the sheet heard a recording."""
    rows = read_columns(
        folder, "calls", "period", "species", "call_index", "recorded_index", "confirmed_by_ear",
        "checked_by_ear",
    )  # fmt: skip
    return [row for row in rows if row[2] != "0"]


def _heard(calls: list[list[str]], at: dict[str, int], names: dict[str, int]) -> dict[int, Heard]:
    """What was heard, and where a species is missing; zeros follow from the checklist."""
    places: dict[int, list[int]] = {}
    indices: dict[int, list[float]] = {}
    certain: dict[int, list[bool]] = {}
    again: dict[int, list[bool]] = {}
    for period, species, index, _, confirmed, checked in calls:
        position = names[species]
        places.setdefault(position, []).append(at[period])
        indices.setdefault(position, []).append(float(index) if index else np.nan)
        certain.setdefault(position, []).append(confirmed == "true")
        again.setdefault(position, []).append(checked == "true")
    return {
        position: Heard(
            at=np.array(places[position], dtype=np.int64),
            index=np.array(indices[position], dtype=np.float64),
            certain=np.array(certain[position], dtype=np.bool_),
            checked=np.array(again[position], dtype=np.bool_),
        )
        for position in sorted(places)
    }


def _records(calls: list[list[str]], year_of: dict[str, int]) -> dict[str, dict[int, int]]:
    """How often each entry itself was written down, by its name and season year."""
    counts: dict[str, dict[int, int]] = {}
    for period, species, _, recorded, *_ in calls:
        if recorded:
            years = counts.setdefault(species, {})
            years[year_of[period]] = years.get(year_of[period], 0) + 1
    return counts
