"""Identical rows counted once: a program's silent sites are mostly the same row."""

from __future__ import annotations

import numpy as np

from surveys.trends.numerics.arrays import FloatArray, IntArray

# Any fixed multipliers do: rows that share a key are compared before they count as equal.
_MULTIPLIERS = np.random.default_rng(20).random(997) + 0.5


def group_rows(*blocks: FloatArray) -> tuple[IntArray, IntArray]:
    """Find rows that agree in every column of every block.

    Blocks have one row a case, any further axes, and no NaN. Returns the row that stands for each
    group, and the group of each row. Where most rows differ, every row is its own group.
    """
    rows = len(blocks[0])
    flats = [block.reshape(rows, -1) if rows else block.reshape(0, 0) for block in blocks]
    key = np.zeros(rows)
    for column, values in enumerate(column for flat in flats for column in flat.T):
        key += values * _MULTIPLIERS[column % len(_MULTIPLIERS)]
    _, first, group = np.unique(key, return_index=True, return_inverse=True)
    alike = all(bool((flat == flat[first][group]).all()) for flat in flats)
    if len(first) > rows // 2 or not alike:
        return np.arange(rows), np.arange(rows)
    return first.astype(np.int64), group.astype(np.int64)
