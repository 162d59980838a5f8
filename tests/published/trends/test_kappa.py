"""Agreement of two listeners against printed tables and a second library."""

import numpy as np
import pytest
from statsmodels.stats.inter_rater import cohens_kappa

from surveys.trends.models.kappa import cohen_kappa

TABLES = [
    # Cohen 1960, Educ. Psychol. Meas. 20:37-46: agreement 0.70, chance 0.41; printed 0.492 (from
    # memory), four decimals recomputed.
    ("none", [[88, 14, 18], [10, 40, 10], [2, 6, 12]], 0.4915),
    # Fleiss, Cohen & Everitt 1969, Psychol. Bull. 72:323-327; recomputed.
    ("none", [[106, 10, 4], [22, 28, 10], [2, 12, 6]], 0.4286),
    # Boyd et al. 1982, four grades (from memory); recomputed.
    ("none", [[21, 12, 0, 0], [4, 17, 1, 0], [3, 9, 15, 2], [0, 0, 0, 1]], 0.4728),
    ("linear", [[21, 12, 0, 0], [4, 17, 1, 0], [3, 9, 15, 2], [0, 0, 0, 1]], 0.5684),
    ("squared", [[21, 12, 0, 0], [4, 17, 1, 0], [3, 9, 15, 2], [0, 0, 0, 1]], 0.6714),
    # Call index 0 to 3, own table, recomputed.
    ("none", [[40, 4, 0, 0], [5, 20, 3, 0], [0, 4, 12, 2], [0, 0, 1, 9]], 0.7221),
    ("linear", [[40, 4, 0, 0], [5, 20, 3, 0], [0, 4, 12, 2], [0, 0, 1, 9]], 0.8242),
    ("squared", [[40, 4, 0, 0], [5, 20, 3, 0], [0, 4, 12, 2], [0, 0, 1, 9]], 0.9078),
]


@pytest.mark.parametrize(("weights", "table", "value"), TABLES)
def test_printed_and_recomputed(weights, table, value):
    assert cohen_kappa(table, weights=weights).value == pytest.approx(value, abs=5e-5)


@pytest.mark.parametrize(("weights", "table", "value"), TABLES)
def test_second_library(weights, table, value):
    """statsmodels.stats.inter_rater.cohens_kappa, value and standard error; tolerance: rounding."""
    kind = {"none": None, "linear": "linear", "squared": "quadratic"}[weights]
    other = cohens_kappa(np.array(table), wt=kind)
    found = cohen_kappa(table, weights=weights)
    assert found.value == pytest.approx(other.kappa, abs=1e-10)
    assert found.se == pytest.approx(other.std_kappa, abs=1e-10)
