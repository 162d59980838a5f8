"""Covariates of visits on one scale, laid out once for all models of the same visits."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

import numpy as np
from numpy.typing import ArrayLike

from surveys.trends.numerics.arrays import BoolArray, FloatArray, IntArray
from surveys.trends.numerics.visit_layout import VisitLayout, lay_out


class VisitColumns(Mapping[str, FloatArray]):
    """Covariates by name, (rows, visits) in their own units, as a mapping; and as columns.

    ``columns`` is (1 + C, visits, rows): ones, then the covariates less their ``center`` (C,) and
    over their ``scale`` (C,). Visits that did not happen have the center of each. In a large
    program ``layout`` holds the same in blocks; ``places`` (1 + C,) are the columns there.
    """

    def __init__(
        self,
        names: Sequence[str],
        columns: FloatArray,
        center: FloatArray,
        scale: FloatArray,
        *,
        layout: VisitLayout | None = None,
        places: IntArray | None = None,
    ) -> None:
        self.names = tuple(names)
        self.columns, self.center, self.scale = columns, center, scale
        self.layout = layout
        self.places = np.arange(1 + len(self.names)) if places is None else places
        self._at = {name: number for number, name in enumerate(self.names)}
        self._picked: dict[tuple[str, ...], VisitColumns] = {}

    def __getitem__(self, name: str) -> FloatArray:
        at = self._at[name]
        return np.asarray(self.center[at] + self.scale[at] * self.columns[1 + at].T)

    def __iter__(self) -> Iterator[str]:
        return iter(self.names)

    def __len__(self) -> int:
        return len(self.names)

    def pick(self, names: Sequence[str]) -> VisitColumns:
        """Some covariates, in this order; one copy only where they are not the first of all."""
        key = tuple(names)
        if key not in self._picked:
            self._picked[key] = self._pick(key)
        return self._picked[key]

    def _pick(self, names: tuple[str, ...]) -> VisitColumns:
        at = np.array([self._at[name] for name in names], dtype=np.int64)
        first = bool((at == np.arange(len(at))).all())
        columns = self.columns[: 1 + len(at)] if first else self.columns[np.r_[0, 1 + at]]
        return VisitColumns(
            names,
            columns,
            self.center[at],
            self.scale[at],
            layout=self.layout,
            places=self.places[np.r_[0, 1 + at]],
        )

    def of_rows(self, rows: BoolArray | IntArray) -> VisitColumns:
        """The same of some rows, on the same scale."""
        if rows.dtype == np.bool_:
            if rows.all():
                return self
            rows = np.flatnonzero(rows)
        return VisitColumns(
            self.names, np.take(self.columns, rows, axis=-1), self.center, self.scale
        )


def visit_columns(
    history: FloatArray, covariates: Mapping[str, FloatArray], years: IntArray | None = None
) -> VisitColumns:
    """Covariates (rows, visits) that are known wherever a history (rows, visits) is not NaN.

    With the season ``years`` (rows,) those of a large program are laid out in blocks as well.
    Raises ValueError for one that is not.
    """
    seen = np.ascontiguousarray(~np.isnan(history).T)
    columns = np.empty((1 + len(covariates), *seen.shape))
    columns[0] = 1.0
    center, scale = np.zeros(len(covariates)), np.ones(len(covariates))
    for number, (name, values) in enumerate(covariates.items()):
        column = np.ascontiguousarray(values.T)
        known = column[seen]
        if np.isnan(known).any():
            raise ValueError(f"{name}: a visit that happened has no value")
        mean = known.mean() if len(known) else 0.0
        known -= mean
        spread = float(np.sqrt(known @ known / max(len(known), 1)))
        center[number], scale[number] = mean, spread if spread > 0 else 1.0
        columns[1 + number] = np.where(seen, column - mean, 0.0) / scale[number]
    layout = None if years is None else lay_out(history, columns, years)
    return VisitColumns(tuple(covariates), columns, center, scale, layout=layout)


def picked(covariates: Mapping[str, FloatArray], names: Sequence[str]) -> Mapping[str, ArrayLike]:
    """Covariates by these names."""
    if isinstance(covariates, VisitColumns) and names:
        return covariates.pick(names)
    return {name: covariates[name] for name in names}


def of_rows(
    covariates: Mapping[str, ArrayLike], rows: BoolArray | IntArray
) -> Mapping[str, ArrayLike]:
    """Covariates of some rows."""
    if isinstance(covariates, VisitColumns):
        return covariates.of_rows(rows)
    return {name: np.asarray(values)[rows] for name, values in covariates.items()}
