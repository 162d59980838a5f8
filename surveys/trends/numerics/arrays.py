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
    return numbered(array)


def numbered(array: AnyArray) -> tuple[AnyArray, IntArray]:
    """Distinct values (n,) of an array (rows,) in sorted order, and the position of each value
    among them: ``np.unique`` with its inverse. Whole numbers close together need no sorting.

    >>> numbered(np.array([2021, 2019, 2021]))
    (array([2019, 2021]), array([1, 0, 1]))
    """
    found = _present(array)
    if found is None:
        labels, codes = np.unique(array, return_inverse=True)
        return labels, codes.astype(np.int64)
    low, present = found
    return np.flatnonzero(present) + low, (np.cumsum(present) - 1)[array - low]


def distinct(array: AnyArray) -> AnyArray:
    """Distinct values of an array (rows,) in sorted order, as ``np.unique``."""
    found = _present(array)
    return np.unique(array) if found is None else np.flatnonzero(found[1]) + found[0]


def _present(array: AnyArray) -> tuple[int, BoolArray] | None:
    """The least of whole numbers (rows,), and which of those from there on occur; None where they
    are few or far apart, or something else."""
    if array.dtype != np.int64 or not len(array):
        return None
    low = int(array.min())
    width = int(array.max()) - low + 1
    if width > _FEW * len(array):
        return None
    present = np.zeros(width, dtype=np.bool_)
    present[array - low] = True
    return low, present
