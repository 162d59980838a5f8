"""Fits that tests share: the same listening periods give the same result, so that a fit that was
made in this run is not made again. The results are those of the estimators. The processes of a run
(pytest-xdist has several) find those of the others in a folder of the run.

Rows get new keys in every test, and visits of one night come in the order of their keys. What a
fit depends on is which periods share a route or a stop, and the order of routes and stops; the
labels themselves enter no number, nor does the order of rows
(`tests/unit/trends/test_analysis.py` checks that). So fits are kept by sorted periods whose
routes and stops are numbered in order.
"""

import functools
import hashlib
import os
import pickle
from collections.abc import Callable, Iterator, Mapping
from dataclasses import fields, is_dataclass, replace
from pathlib import Path

import numpy as np

from surveys.trends.periods import SpeciesPeriods
from surveys.trends.species_result import SpeciesResult

_made: dict[bytes, SpeciesResult] = {}


def once(analyze: Callable[..., SpeciesResult], folder: Path) -> Callable[..., SpeciesResult]:
    """`analyze`, which works out each result once a run; `folder` is that of the run."""

    @functools.wraps(analyze)
    def remembered(species: str, periods: SpeciesPeriods, **options: object) -> SpeciesResult:
        key = as_bytes((species, in_order(periods), options))
        if key not in _made:
            path = folder / f"{hashlib.sha256(key).hexdigest()}.fit"
            if path.exists():
                _made[key] = pickle.loads(path.read_bytes())
            else:
                _made[key] = analyze(species, periods, **options)
                _write_whole(path, pickle.dumps(_made[key]))
        return _made[key]

    return remembered


def _write_whole(path: Path, written: bytes) -> None:
    """Another process sees all of the file or none."""
    part = path.with_suffix(f".{os.getpid()}")
    part.write_bytes(written)
    part.rename(path)


def in_order(periods: SpeciesPeriods) -> SpeciesPeriods:
    """The same periods, sorted, with routes and stops numbered from 0 in the order of their
    labels."""
    columns = periods.columns
    routes = np.unique(columns.route)
    described = {stop for values in periods.stops.values() for stop in values} | set(periods.in_use)
    number = {stop: at for at, stop in enumerate(sorted(described | set(columns.stop.tolist())))}
    route = np.searchsorted(routes, columns.route)
    stop = np.array([number[label] for label in columns.stop.tolist()], dtype=np.int64)
    rows = np.lexsort((stop, route, columns.visit_number, columns.night))
    return replace(
        periods,
        columns=replace(
            columns,
            route=route[rows],
            stop=stop[rows],
            season_year=columns.season_year[rows],
            night=columns.night[rows],
            visit_number=columns.visit_number[rows],
            call_index=columns.call_index[rows],
            heard=columns.heard[rows],
            covariates={name: values[rows] for name, values in columns.covariates.items()},
            certain=None if columns.certain is None else columns.certain[rows],
            checked=None if columns.checked is None else columns.checked[rows],
            way=None if columns.way is None else columns.way[rows],
            first_season=None if columns.first_season is None else columns.first_season[rows],
        ),
        day=periods.day[rows],
        in_season=periods.in_season[rows],
        region=None if periods.region is None else periods.region[rows],
        stops={
            name: {number[label]: values[label] for label in sorted(values)}
            for name, values in periods.stops.items()
        },
        chosen={int(np.searchsorted(routes, one)): how for one, how in periods.chosen.items()},
        in_use={number[stop]: nights for stop, nights in sorted(periods.in_use.items())},
    )


def as_bytes(value: object) -> bytes:
    """Equal bytes for equal values, whatever objects they are made of."""
    return b"".join(_pieces(value))


def _pieces(value: object) -> Iterator[bytes]:
    if is_dataclass(value) and not isinstance(value, type):
        value = {field.name: getattr(value, field.name) for field in fields(value)}
    if isinstance(value, np.ndarray):
        yield f"{value.dtype}{value.shape}".encode() + value.tobytes()
    elif isinstance(value, Mapping):
        for name in sorted(value):
            yield f"{name!r}:".encode()
            yield from _pieces(value[name])
    elif isinstance(value, tuple | list):
        yield f"({len(value)}".encode()
        for item in value:
            yield from _pieces(item)
    else:
        yield f"{value!r},".encode()
