"""All tables of a large program: 600 routes of 10 stops, 20 seasons of 3 visits, 25 species.

Measured at 1, 2 and 4 times 150 routes: 0.26, 0.34 and 0.52 s a species, and 128, 148 and 191 MB;
25 species at 600 routes thus 13 s on one core, where the aim is 30 s on two.
What the worker stores of a species besides is in ``test_whole_species``.
"""

import json
import subprocess
import sys
from pathlib import Path

import pytest

pytestmark = pytest.mark.benchmark
ROOT = Path(__file__).resolve().parents[3]
# In CPU seconds, against ten evaluations of the likelihood, visit by visit, on the same histories.
# Measured 5.3 to 5.6, at any load of the machine; the aim is about 10.
MOST_TIMES_THE_FLOOR = 11
MEASURE = """
import json
import numpy as np
from surveys.trends.histories import build_histories
from surveys.trends.models.occupancy_likelihood import log_likelihood, occupancy_cells
from tests.benchmarks.trends.test_speed import all_tables, program
from tests.benchmarks.trends.test_whole_species import cpu
from tests.support.memory import peak_megabytes

periods = program(600)
seconds = cpu(lambda: all_tables(periods))
peak = peak_megabytes()

detected = build_histories(periods).detected
by_visit = occupancy_cells(
    detected, np.arange(len(detected))[:, None] * 1.0, np.ones((*detected.shape, 1))
)
assert len(by_visit.weight) == len(detected) == 120_000
theta = np.array([0.0, 0.4])
floor = cpu(lambda: [log_likelihood(by_visit, theta) for _ in range(10)])
print(json.dumps({"seconds": seconds, "floor": floor, "megabytes": peak}))
"""


def test_time_and_memory():
    # In a process of its own, whose memory is nobody else's.
    done = subprocess.run(
        [sys.executable, "-c", MEASURE], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    found = json.loads(done.stdout)
    assert found["seconds"] <= MOST_TIMES_THE_FLOOR * found["floor"], found
    assert found["megabytes"] <= 1024, found
