"""Agreement of two listeners beyond chance."""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from surveys.trends import estimates
from surveys.trends.estimates import Estimate, not_estimable
from surveys.trends.numerics.arrays import FloatArray, check_level, float_array
from surveys.trends.numerics.intervals import normal_quantile

Weights = Literal["none", "linear", "squared"]
METHOD = "kappa"
INTERVAL = "wald-kappa"


def agreement_table(first: ArrayLike, second: ArrayLike, *, classes: int = 4) -> FloatArray:
    """Counts of each pair of classes that two listeners gave.

    Parameters
    ----------
    first, second
        (n,) whole numbers from 0, NaN where a listener gave none; such pairs are left out.
    classes
        How many classes there are; 4 for the call index.

    Returns
    -------
    array (classes, classes)
        The first listener in rows, the second in columns.

    Raises
    ------
    ValueError
        For other values, or lengths that differ.

    Examples
    --------
    >>> agreement_table([0, 1, 1, 2], [0, 1, 2, float("nan")], classes=3).tolist()
    [[1.0, 0.0, 0.0], [0.0, 1.0, 1.0], [0.0, 0.0, 0.0]]
    """
    a, b = float_array(first, name="first", ndim=1), float_array(second, name="second", ndim=1)
    if a.shape != b.shape:
        raise ValueError(f"first and second: lengths {len(a)} and {len(b)} differ")
    both = ~np.isnan(a) & ~np.isnan(b)
    pairs = np.stack([a[both], b[both]])
    if not np.isin(pairs, np.arange(classes)).all():
        raise ValueError(f"expected whole numbers from 0 to {classes - 1}, or NaN")
    table = np.zeros((classes, classes))
    np.add.at(table, tuple(pairs.astype(np.int64)), 1.0)
    return table


def cohen_kappa(table: ArrayLike, *, weights: Weights = "none", level: float = 0.95) -> Estimate:
    """Agreement of two listeners beyond chance, plain or weighted for ordered classes.

    Parameters
    ----------
    table
        (classes, classes) counts, as from ``agreement_table``.
    weights
        ``"none"``; ``"linear"``, which gives a pair one class apart part of the credit; or
        ``"squared"``, which gives it more.
    level
        Confidence level of the interval.

    Returns
    -------
    Estimate
        Kappa, at most 1; undefined, and flagged, when there are no pairs or chance alone always
        agrees.

    Raises
    ------
    ValueError
        For a table that is not square or holds negative counts, or other weights.

    References
    ----------
    Cohen 1960, Educational and Psychological Measurement 20:37–46; Cohen 1968, Psychological
    Bulletin 70:213–220; interval by Fleiss, Cohen & Everitt 1969, Psychological Bulletin
    72:323–327.

    Examples
    --------
    >>> kappa = cohen_kappa([[20, 5], [10, 15]])
    >>> round(kappa.value, 3)
    0.4
    """
    check_level(level)
    counts = float_array(table, name="table", ndim=2)
    size = len(counts)
    if counts.shape != (size, size) or size < 2 or (counts < 0).any() or np.isnan(counts).any():
        raise ValueError(f"table: expected a square table of counts, got shape {counts.shape}")
    name = "kappa" if weights == "none" else f"kappa, {weights} weights"
    total = counts.sum()
    credit = _credit(size, weights)
    share = counts / total if total else counts
    rows, columns = share.sum(axis=1), share.sum(axis=0)
    agreed, chance = float((credit * share).sum()), float(rows @ credit @ columns)
    if not total or chance >= 1 - 1e-12:
        flags = (estimates.TOO_FEW_DATA, estimates.NOT_IDENTIFIED)
        return not_estimable(name, method=METHOD, flags=flags, level=level)
    value = (agreed - chance) / (1 - chance)
    mean_credit = (credit @ columns)[:, None] + (rows @ credit)[None, :]
    spread = share * (credit * (1 - chance) - mean_credit * (1 - agreed)) ** 2
    variance = float(spread.sum()) - (agreed * chance - 2 * chance + agreed) ** 2
    se = float(np.sqrt(max(variance, 0.0) / total)) / (1 - chance) ** 2
    half = normal_quantile(level) * se
    return Estimate(
        name=name,
        value=value,
        low=max(value - half, -1.0),
        high=min(value + half, 1.0),
        interval=INTERVAL,
        method=METHOD,
        flags=() if se > 0 else (estimates.EDGE_OF_RANGE,),
        se=se,
        level=level,
    )


def _credit(size: int, weights: Weights) -> FloatArray:
    distance = np.abs(np.subtract.outer(np.arange(size), np.arange(size))) / (size - 1)
    if weights == "none":
        return np.eye(size)
    if weights == "linear":
        return np.asarray(1 - distance, dtype=np.float64)
    if weights == "squared":
        return np.asarray(1 - distance**2, dtype=np.float64)
    raise ValueError(f"weights: expected 'none', 'linear' or 'squared', got {weights!r}")
