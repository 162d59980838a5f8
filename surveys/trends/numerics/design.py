"""Design matrices: named columns for a linear predictor on the logit or log scale."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from functools import reduce
from typing import TypeVar

import numpy as np
from numpy.typing import ArrayLike

from surveys.trends.numerics.arrays import AnyArray, BoolArray, FloatArray, IntArray
from surveys.trends.numerics.visit_columns import VisitColumns
from surveys.trends.numerics.visit_layout import VisitLayout

INTERCEPT = "intercept"
PartName = TypeVar("PartName", bound=str)


@dataclass(frozen=True, kw_only=True)
class Design:
    """``matrix`` is (rows, columns), or (rows, visits, columns) when it differs by visit; then each
    column lies in memory by itself, which saves most of the time of a large program.

    The first ``levels`` names may be those of a factor, whose columns are not in the matrix:
    ``level`` (rows,) says which of them is 1 in a row, the others being 0.

    With ``units``, center and scale of the columns (columns,), these are of unit scale already and
    hold no NaN; coefficients are told in the units from before. An intercept has 0 and 1. With a
    ``layout`` the columns of the matrix are its ``places`` (columns,) as well.
    """

    names: tuple[str, ...]
    matrix: FloatArray
    levels: int = 0
    level: IntArray | None = None
    units: tuple[FloatArray, FloatArray] | None = None
    layout: VisitLayout | None = None
    places: IntArray | None = None

    def __post_init__(self) -> None:
        if self.matrix.ndim < 2 or self.matrix.shape[-1] + self.levels != len(self.names):
            raise ValueError(
                f"design: {len(self.names)} names do not fit a matrix of shape {self.matrix.shape}"
            )

    @property
    def own_units(self) -> FloatArray:
        """The matrix in the units in which coefficients are told."""
        if self.units is None:
            return self.matrix
        return np.asarray(self.matrix * self.units[1] + self.units[0])

    def select(self, rows: BoolArray | IntArray) -> Design:
        """The design of the rows that a mask (rows,) marks, or that are numbered."""
        if rows.dtype == np.bool_:
            if rows.all():
                return self
            rows = np.flatnonzero(rows)
        elif len(rows) == len(self.matrix) and (rows == np.arange(len(rows))).all():
            return self
        return replace(
            self,
            matrix=np.take(self.matrix.T, rows, axis=-1).T,
            level=None if self.level is None else self.level[rows],
            layout=None,
        )


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
    if isinstance(covariates, VisitColumns):
        return _of_columns(covariates, rows, visits)
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
    columns = np.ones((1 + len(arrays), visits, rows))
    for column, array in zip(columns[1:], arrays.values(), strict=True):
        column[...] = array.T
    return Design(names=(INTERCEPT, *arrays), matrix=columns.T)


def _of_columns(covariates: VisitColumns, rows: int, visits: int) -> Design:
    if covariates.columns.shape[1:] != (visits, rows):
        raise ValueError(f"covariates: expected shape ({rows}, {visits})")
    return Design(
        names=(INTERCEPT, *covariates.names),
        matrix=covariates.columns.T,
        units=(np.r_[0.0, covariates.center], np.r_[1.0, covariates.scale]),
        layout=covariates.layout,
        places=covariates.places,
    )


def factor_design(values: ArrayLike, *, levels: AnyArray, prefix: str) -> Design:
    """One column a level and no intercept, so that each coefficient is one level's own."""
    matrix = (np.asarray(values)[:, None] == levels[None, :]).astype(np.float64)
    return Design(names=tuple(f"{prefix}{label}" for label in levels.tolist()), matrix=matrix)


def with_levels(values: ArrayLike, *, levels: AnyArray, prefix: str, design: Design) -> Design:
    """A design with a level of its own for each of ``levels`` in place of an intercept; rows with
    another value have the first."""
    rest = without_intercept(design)
    number = np.searchsorted(levels, np.asarray(values))
    return replace(
        rest,
        names=(
            *(f"{prefix}{label}" for label in levels.tolist()),
            *rest.names,
        ),
        levels=len(levels),
        level=np.where(number < len(levels), number, 0).astype(np.int64),
    )


def without_intercept(design: Design) -> Design:
    """The columns of covariates alone, not copied where the intercept is the first."""
    kept = [k for k, name in enumerate(design.names) if name != INTERCEPT]
    at = slice(1, None) if kept == list(range(1, len(design.names))) else kept
    units = design.units
    return Design(
        names=tuple(design.names[k] for k in kept),
        matrix=design.matrix.T[at].T,
        units=None if units is None else (units[0][kept], units[1][kept]),
        layout=design.layout,
        places=None if design.places is None else design.places[kept],
    )


def blocks(first: FloatArray, second: FloatArray) -> FloatArray:
    """Block-diagonal matrix of two square matrices."""
    k, m = len(first), len(second)
    matrix = np.zeros((k + m, k + m))
    matrix[:k, :k], matrix[k:, k:] = first, second
    return matrix


def join(*designs: Design) -> Design:
    """Designs side by side; a two-axis matrix is repeated over visits beside a three-axis one."""
    visits = next((d.matrix.shape[1] for d in designs if d.matrix.ndim == 3), None)
    names = tuple(name for d in designs for name in d.names)
    if visits is None:
        return Design(names=names, matrix=np.concatenate([d.matrix for d in designs], axis=-1))
    columns = np.empty((len(names), visits, len(designs[0].matrix)))
    begin = 0
    for d in designs:
        end = begin + len(d.names)
        columns[begin:end] = d.matrix.T if d.matrix.ndim == 3 else d.matrix.T[:, None, :]
        begin = end
    return Design(names=names, matrix=columns.T)


def standardized(design: Design) -> tuple[FloatArray, FloatArray]:
    """The matrix with columns of unit scale, and the map of its coefficients to the given scale.

    Covariates in their own units (degrees, years) would slow the search. Columns are centered only
    when there is an intercept to take up the shift. ``raw = back @ scaled``.
    """
    matrix = design.matrix
    if not matrix.size or design.names == (INTERCEPT,):
        return matrix, np.eye(matrix.shape[-1])
    is_intercept = np.array([name == INTERCEPT for name in design.names[design.levels :]])
    if design.units is not None:
        center, scale = design.units
        back = np.diag(1.0 / scale)
        if is_intercept.any():
            back[int(np.argmax(is_intercept))] -= center / scale
        return matrix, back
    mean, spread = moments(matrix)
    scale = np.where(spread > 0, spread, 1.0)
    center = np.where((spread > 0) & is_intercept.any(), mean, 0.0)
    back = np.diag(1.0 / scale)
    if is_intercept.any():
        back[int(np.argmax(is_intercept))] -= center / scale
    return (matrix - center) / scale, back


def level_scale(design: Design, listened: FloatArray) -> FloatArray:
    """Standard deviation of the column of each level (L,), rows weighted by ``listened``; 1 where
    it does not vary."""
    if design.level is None:
        return np.zeros(0)
    share = np.bincount(design.level, weights=listened, minlength=design.levels) / listened.sum()
    spread = np.sqrt(share * (1 - share))
    return np.where(spread > 0, spread, 1.0)


def moments(matrix: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Mean and standard deviation of each column, without NaN."""
    mean, spread = np.empty(matrix.shape[-1]), np.empty(matrix.shape[-1])
    for k, column in enumerate(matrix.T):
        known = np.ravel(column)
        missing = np.isnan(known)
        if missing.any():
            known = known[~missing]
        mean[k] = known.mean()
        away = known - mean[k]
        spread[k] = np.sqrt(away @ away / len(known)) if len(known) else np.nan
    return mean, spread


def linear(matrix: FloatArray, coefficients: FloatArray) -> FloatArray:
    """``matrix @ coefficients``, quick where each column lies in memory by itself."""
    if matrix.ndim == 2:
        return np.asarray(matrix @ coefficients)
    columns = matrix.T
    flat = columns.reshape(len(columns), matrix.shape[0] * matrix.shape[1])
    return np.asarray((coefficients @ flat).reshape(columns.shape[1:]).T)


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
    known = listened = ~np.isnan(history)
    if by_visit.units is None:
        unknown = np.asarray(np.isnan(by_visit.matrix).any(axis=-1))
        unknown = unknown if unknown.ndim == 2 else unknown[:, None]
        known = listened & ~unknown
    kept = np.asarray(known.any(axis=1) & ~np.isnan(by_row.matrix).any(axis=1))
    lost = known is not listened and bool((listened & ~known).any())
    if not lost and kept.all():
        return history, kept, False
    incomplete = lost or bool((listened.any(axis=1) & ~kept).any())
    return np.where(known, history, np.nan)[kept], kept, incomplete
