"""Design matrices: named columns for a linear predictor on the logit or log scale."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import reduce
from typing import TypeVar

import numpy as np
from numpy.typing import ArrayLike

from surveys.trends.numerics.arrays import AnyArray, BoolArray, FloatArray

INTERCEPT = "intercept"
PartName = TypeVar("PartName", bound=str)


@dataclass(frozen=True, kw_only=True)
class Design:
    """``matrix`` is (rows, columns), or (rows, visits, columns) when it differs by visit."""

    names: tuple[str, ...]
    matrix: FloatArray

    def __post_init__(self) -> None:
        if self.matrix.ndim < 2 or self.matrix.shape[-1] != len(self.names):
            raise ValueError(
                f"design: {len(self.names)} names do not fit a matrix of shape {self.matrix.shape}"
            )

    def select(self, rows: BoolArray) -> Design:
        """The design of the rows that a mask (rows,) marks."""
        return Design(names=self.names, matrix=self.matrix[rows])


def site_design(rows: int, covariates: Mapping[str, ArrayLike] | None = None) -> Design:
    """Intercept and one column a covariate; each covariate has one value a row."""
    columns = [np.ones(rows)]
    for name, values in (covariates or {}).items():
        array = np.asarray(values, dtype=np.float64)
        if array.shape != (rows,):
            raise ValueError(f"{name}: expected {rows} values, one a site, got shape {array.shape}")
        columns.append(array)
    return Design(names=(INTERCEPT, *(covariates or {})), matrix=np.column_stack(columns))


def visit_design(
    rows: int, visits: int, covariates: Mapping[str, ArrayLike] | None = None
) -> Design:
    """Intercept and one column a covariate, of shape (rows,) or (rows, visits).

    The matrix keeps two axes as long as nothing differs between the visits of a row.
    """
    arrays = {
        name: np.asarray(values, dtype=np.float64) for name, values in (covariates or {}).items()
    }
    for name, array in arrays.items():
        if array.shape not in ((rows,), (rows, visits)):
            raise ValueError(
                f"{name}: expected shape ({rows},) or ({rows}, {visits}), got {array.shape}"
            )
    if all(array.ndim == 1 for array in arrays.values()):
        return site_design(rows, arrays)
    columns = [
        np.broadcast_to(array if array.ndim == 2 else array[:, None], (rows, visits))
        for array in arrays.values()
    ]
    matrix = np.stack([np.ones((rows, visits)), *columns], axis=-1)
    return Design(names=(INTERCEPT, *arrays), matrix=matrix)


def factor_design(values: ArrayLike, *, levels: AnyArray, prefix: str) -> Design:
    """One column a level and no intercept, so that each coefficient is one level's own."""
    matrix = (np.asarray(values)[:, None] == levels[None, :]).astype(np.float64)
    return Design(names=tuple(f"{prefix}{label}" for label in levels.tolist()), matrix=matrix)


def blocks(first: FloatArray, second: FloatArray) -> FloatArray:
    """Block-diagonal matrix of two square matrices."""
    k, m = len(first), len(second)
    matrix = np.zeros((k + m, k + m))
    matrix[:k, :k], matrix[k:, k:] = first, second
    return matrix


def join(*designs: Design) -> Design:
    """Designs side by side; a two-axis matrix is repeated over visits beside a three-axis one."""
    visits = next((d.matrix.shape[1] for d in designs if d.matrix.ndim == 3), None)
    parts = [
        d.matrix
        if visits is None or d.matrix.ndim == 3
        else np.repeat(d.matrix[:, None, :], visits, axis=1)
        for d in designs
    ]
    return Design(
        names=tuple(name for d in designs for name in d.names),
        matrix=np.concatenate(parts, axis=-1),
    )


def standardized(design: Design) -> tuple[FloatArray, FloatArray]:
    """The matrix with columns of unit scale, and the map of its coefficients to the given scale.

    Covariates in their own units (degrees, years) would slow the search. Columns are centered only
    when there is an intercept to take up the shift. ``raw = back @ scaled``.
    """
    matrix = design.matrix
    flat = matrix.reshape(-1, matrix.shape[-1])
    if not len(flat) or design.names == (INTERCEPT,):
        return matrix, np.eye(flat.shape[1])
    spread = np.nanstd(flat, axis=0)
    is_intercept = np.array([name == INTERCEPT for name in design.names])
    scale = np.where(spread > 0, spread, 1.0)
    center = np.where((spread > 0) & is_intercept.any(), np.nanmean(flat, axis=0), 0.0)
    back = np.diag(1.0 / scale)
    if is_intercept.any():
        back[int(np.argmax(is_intercept))] -= center / scale
    return (matrix - center) / scale, back


def all_standardized(designs: Iterable[Design]) -> tuple[list[FloatArray], FloatArray]:
    """The matrices of unit scale, and one map of their coefficients, in the same order."""
    scaled = [standardized(design) for design in designs]
    return [matrix for matrix, _ in scaled], reduce(blocks, (back for _, back in scaled))


def coefficient_names(parts: Mapping[PartName, Design]) -> tuple[str, ...]:
    """The columns of all parts, each under the name of its part."""
    return tuple(f"{part}: {name}" for part, design in parts.items() for name in design.names)


def at_mean_covariates(parts: Mapping[PartName, Design], wanted: str) -> FloatArray:
    """Contrast (K,) that picks the linear predictor of one part at the mean of its covariates."""
    rows = []
    for part, design in parts.items():
        flat = design.matrix.reshape(-1, len(design.names))
        picked = part == wanted and design.matrix.size > 0
        rows.append(np.nanmean(flat, axis=0) if picked else np.zeros(flat.shape[1]))
    return np.concatenate(rows)


def drop_incomplete(
    history: FloatArray, by_row: Design, by_visit: Design
) -> tuple[FloatArray, BoolArray, bool]:
    """Leave out visits and rows that lack a covariate of the model.

    ``history`` is (rows, visits) with NaN for a visit that did not happen. Returns the history of
    the rows that stay, which rows those are, and whether a visit or row listened to was left out.
    """
    unknown = np.asarray(np.isnan(by_visit.matrix).any(axis=-1))
    unknown = unknown if unknown.ndim == 2 else unknown[:, None]
    complete = np.where(unknown, np.nan, history)
    listened = ~np.isnan(history)
    kept = np.asarray((~np.isnan(complete)).any(axis=1) & ~np.isnan(by_row.matrix).any(axis=1))
    incomplete = bool((listened & np.isnan(complete)).any() or (listened.any(axis=1) & ~kept).any())
    return complete[kept], kept, incomplete
