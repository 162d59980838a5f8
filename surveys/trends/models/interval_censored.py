"""Waiting times of which only the ends are known that they lie between."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from surveys.trends.numerics.arrays import FloatArray, IntArray

_MOST_STEPS = 10_000
_SETTLED = 1e-9


@dataclass(frozen=True, kw_only=True)
class Chances:
    """The chance ``weight`` (J,) that a time lies from ``first`` to ``last`` (J,), both included.
    Where between them it lies, no data can say."""

    first: FloatArray
    last: FloatArray
    weight: FloatArray

    def quantile(self, share: float) -> tuple[float, float]:
        """The ends between which the time lies by which ``share`` have come to pass."""
        reached = np.cumsum(self.weight) >= share - _SETTLED
        at = int(np.argmax(reached)) if reached.any() else len(self.weight) - 1
        return float(self.first[at]), float(self.last[at])


def turnbull(earliest: FloatArray, latest: FloatArray) -> Chances:
    """The nonparametric maximum-likelihood distribution of times known to lie in intervals.

    Parameters
    ----------
    earliest, latest
        (n,) both ends of each interval, included; ``latest`` may be infinite.

    Returns
    -------
    Chances
        Over the innermost intervals, in their order, those without a chance left out.

    Raises
    ------
    ValueError
        Without intervals, or where one ends before it begins.

    References
    ----------
    Turnbull 1976, Journal of the Royal Statistical Society B 38:290–295; the EM iteration is his
    equation of self-consistency.

    Examples
    --------
    >>> import numpy as np
    >>> times = turnbull(np.array([1.0, 1.0, 4.0]), np.array([2.0, 5.0, 6.0]))
    >>> times.first.tolist(), times.last.tolist(), times.weight.round(3).tolist()
    ([1.0, 4.0], [2.0, 5.0], [0.5, 0.5])
    """
    if not len(earliest) or not np.all(earliest <= latest):
        raise ValueError("expected intervals whose first end is not after the last")
    first, last = _innermost(earliest, latest)
    pairs, count = np.unique(np.column_stack([earliest, latest]), axis=0, return_counts=True)
    holds = ((pairs[:, :1] <= first) & (last <= pairs[:, 1:])).astype(np.float64)
    share = count / count.sum()
    weight = np.full(len(first), 1 / len(first))
    for _ in range(_MOST_STEPS):
        again = weight * ((share / (holds @ weight)) @ holds)
        settled = np.abs(again - weight).max() < _SETTLED
        weight = again
        if settled:
            break
    kept = weight > 1e-6
    return Chances(first=first[kept], last=last[kept], weight=weight[kept] / weight[kept].sum())


def _innermost(earliest: FloatArray, latest: FloatArray) -> tuple[FloatArray, FloatArray]:
    """The intervals from an earliest end to the next latest end with no other end between."""
    ends = np.concatenate([earliest, latest])
    is_last = np.repeat([0, 1], len(earliest))
    # Ends are included, so at the same time the earliest ends come before the latest.
    order = np.lexsort((is_last, ends))
    ends, is_last = ends[order], is_last[order]
    at = np.flatnonzero((is_last[:-1] == 0) & (is_last[1:] == 1))
    return ends[at], ends[at + 1]


def clustered_medians(
    values: FloatArray, clusters: IntArray, *, replicates: int, seed: int
) -> FloatArray:
    """Medians (replicates,) of ``values`` in samples of whole clusters, drawn with replacement.
    The lower of two middle values is taken."""
    rng = np.random.default_rng(seed)
    many = int(clusters.max()) + 1
    times = rng.multinomial(many, np.full(many, 1 / many), size=replicates).astype(np.float64)
    distinct, value = np.unique(values, return_inverse=True)
    counts = np.bincount(clusters * len(distinct) + value, minlength=many * len(distinct))
    upto = np.cumsum(times @ counts.reshape(many, len(distinct)), axis=1)
    medians: FloatArray = distinct[np.argmax(2 * upto >= upto[:, -1:], axis=1)]
    return medians
