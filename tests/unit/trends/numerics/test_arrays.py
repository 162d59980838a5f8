"""Distinct values without sorting, against numpy's own."""

import numpy as np
import pytest

from surveys.trends.numerics.arrays import distinct, numbered

ARRAYS = {
    "years": np.array([2021, 2019, 2021, 2024, 2019]),
    "negative": np.array([-3, 0, -3, 2]),
    "far apart": np.array([0, 10**15, 5, 10**15]),
    "ends of the range": np.array([np.iinfo(np.int64).min, np.iinfo(np.int64).max]),
    "one": np.array([7]),
    "none": np.zeros(0, dtype=np.int64),
    "texts": np.array(["b", "a", "b"]),
    "fractions": np.array([0.5, 0.25, 0.5]),
    "bytes": np.array([250, 3, 250], dtype=np.uint8),
}


@pytest.mark.parametrize("values", ARRAYS.values(), ids=ARRAYS.keys())
def test_distinct_values_are_those_of_numpy(values):
    labels, codes = np.unique(values, return_inverse=True)
    found, number = numbered(values)
    assert found.tolist() == distinct(values).tolist() == labels.tolist()
    assert number.tolist() == codes.tolist()
    assert found.dtype == labels.dtype
    assert number.dtype == np.int64
