"""Array types and input checks shared by the estimators."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]
AnyArray = NDArray[Any]
_FEW = 8


def float_array(values: ArrayLike, *, name: str, ndim: int) -> FloatArray:
    """Return ``values`` as a float array with ``ndim`` axes.

    Raises ValueError when the values are not numbers or the number of axes is another one.
    """
    try:
        array = np.asarray(values, dtype=np.float64)
    except (TypeError, ValueError) as error:
        raise ValueError(f"{name}: expected numbers, with NaN for missing ({error})") from error
    if array.ndim != ndim:
        raise ValueError(f"{name}: expected {ndim} axes, got shape {array.shape}")
    return array


def check_level(level: float) -> None:
    """Raise ValueError unless ``level`` is a confidence level between 0 and 1."""
    if not 0.0 < level < 1.0:
        raise ValueError(f"level: expected a share between 0 and 1 such as 0.95, got {level}")


def codes_of(values: ArrayLike, *, name: str, length: int) -> tuple[AnyArray, IntArray]:
    """Distinct labels in sorted order, and the position of each value among them.

    Raises ValueError when there is not one value for each of ``length`` rows.
    """
    array = np.asarray(values)
    if array.shape != (length,):
        raise ValueError(
            f"{name}: expected one value for each of {length} rows, got shape {array.shape}"
        )
    if array.dtype == np.int64 and length and array.min() >= 0 and array.max() < _FEW * length:
        # Small whole numbers need no sorting.
        labels = np.flatnonzero(np.bincount(array))
        number = np.zeros(int(labels[-1]) + 1, dtype=np.int64)
        number[labels] = np.arange(len(labels))
        return labels, number[array]
    labels, codes = np.unique(array, return_inverse=True)
    return labels, codes.astype(np.int64)
