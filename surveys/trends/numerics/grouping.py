"""Identical rows counted once: a program's silent sites are mostly the same row."""

from __future__ import annotations

import numpy as np

from surveys.trends.numerics.arrays import FloatArray, IntArray

# Any fixed multipliers do: rows that share a key are compared before they count as equal.
_MULTIPLIERS = np.random.default_rng(20).random(997) + 0.5
_FEW = 6


def _mostly_differ(key: FloatArray) -> bool:
    ordered = np.sort(key)
    return 1 + int(np.count_nonzero(ordered[1:] != ordered[:-1])) > len(key) // 2


def group_rows(*blocks: FloatArray) -> tuple[IntArray, IntArray]:
    """Find rows that agree in every column of every block.

    Blocks have one row a case, any further axes, and no NaN. Returns the row that stands for each
    group, and the group of each row. Where most rows differ, every row is its own group.
    """
    rows = len(blocks[0])
    columns = [column for block in blocks if rows for column in block.T.reshape(-1, rows)]
    key = np.zeros(rows)
    # From the last on: those are of visits, which differ most, and a few of them may tell.
    for number in range(len(columns) - 1, -1, -1):
        key += columns[number] * _MULTIPLIERS[number % len(_MULTIPLIERS)]
        if number in (0, len(columns) - _FEW) and _mostly_differ(key):
            return np.arange(rows), np.arange(rows)
    _, first, group = np.unique(key, return_index=True, return_inverse=True)
    if not all(bool((values == values[first][group]).all()) for values in columns):
        return np.arange(rows), np.arange(rows)
    return first.astype(np.int64), group.astype(np.int64)
