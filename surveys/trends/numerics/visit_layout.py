"""The visits of a large program in blocks that fit into a processor's cache, laid out once.

All models of the same visits share the blocks: each picks its columns, mostly without a copy.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from surveys.trends.numerics.arrays import BoolArray, FloatArray, IntArray
from surveys.trends.numerics.grouping import group_rows

# Numbers of one array of a block: 64 kB, of which some ten are in use at a time.
MOST_NUMBERS = 8_192


@dataclass(frozen=True, kw_only=True, eq=False)
class LaidOut:
    """g rows of one season year or of a few: ``at`` (g,) says which.

    ``columns`` is (C, J, g) with the intercept first; ``heard`` and ``trials`` are (J, g). In all
    rows the species was heard, or in none.
    """

    at: IntArray
    columns: FloatArray
    heard: FloatArray
    trials: FloatArray
    silent: bool
    _picked: dict[tuple[int, ...], FloatArray] = field(default_factory=dict, init=False, repr=False)

    def picked(self, places: IntArray) -> FloatArray:
        """Some of the columns, one copy only where they are not next to each other."""
        if (np.diff(places) == 1).all():
            return self.columns[places[0] : places[-1] + 1]
        key = tuple(places.tolist())
        if key not in self._picked:
            self._picked[key] = self.columns[places]
        return self._picked[key]


@dataclass(frozen=True, kw_only=True, eq=False)
class VisitLayout:
    """The blocks of a ``history`` (rows, visits)."""

    history: FloatArray
    blocks: tuple[LaidOut, ...]

    def parts(self, by_row: FloatArray) -> list[FloatArray]:
        """Columns (rows, k) as (k, g) of each block."""
        order = np.concatenate([block.at for block in self.blocks])
        ends = np.cumsum([len(block.at) for block in self.blocks])[:-1]
        return np.split(np.ascontiguousarray(by_row[order].T), ends, axis=1)

    def is_of(self, history: FloatArray) -> bool:
        """Whether the blocks hold just these histories."""
        return np.array_equal(history, self.history, equal_nan=True)

    @cached_property
    def trials(self) -> FloatArray:
        """1 for a visit that happened (rows, visits)."""
        return (~np.isnan(self.history)).astype(np.float64)

    @cached_property
    def heard(self) -> FloatArray:
        """1 for a visit that heard the species (rows, visits)."""
        return np.nan_to_num(self.history)


def lay_out(history: FloatArray, columns: FloatArray, years: IntArray) -> VisitLayout | None:
    """Blocks of histories (rows, visits) with columns (C, visits, rows).

    ``years`` (rows,) are season years. None for a small program, and where rows without visits, or
    many that are the same, are better left out or counted once.
    """
    seen = ~np.isnan(history)
    if history.size <= MOST_NUMBERS or len(columns) < 2 or not seen.any(axis=1).all():
        return None
    trials, heard = seen.astype(np.float64), np.nan_to_num(history)
    if len(group_rows(heard, trials, columns.T)[0]) < len(history):
        return None
    silent: BoolArray = np.asarray(~heard.any(axis=1), dtype=np.bool_)
    blocks = [
        LaidOut(
            at=rows,
            columns=np.take(columns, rows, axis=2),
            heard=np.ascontiguousarray(heard[rows].T),
            trials=np.ascontiguousarray(trials[rows].T),
            silent=bool(silent[rows[0]]),
        )
        for rows in _rows_of_blocks(years, silent, seen)
    ]
    return VisitLayout(history=history, blocks=tuple(blocks))


def _rows_of_blocks(years: IntArray, silent: BoolArray, seen: BoolArray) -> list[IntArray]:
    """Rows by what was heard, then by missing visits and by year, in parts of nearly one size."""
    all_seen: BoolArray = np.asarray(seen.all(axis=1), dtype=np.bool_)
    order = np.lexsort((years, ~all_seen, silent))
    heard = int(np.count_nonzero(~silent))
    most = max(MOST_NUMBERS // seen.shape[1], 1)
    made = []
    for rows in (order[:heard], order[heard:]):
        parts = -(-len(rows) // most)
        # In the order of the data, which reads them quickest and keeps clusters together.
        made += [np.sort(part) for part in np.array_split(rows, parts)] if parts else []
    return made
