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
SPECIES = 25
MEASURE = """
import json, time
from tests.benchmarks.trends.test_speed import all_tables, program
from tests.support.memory import peak_megabytes

periods = program(600)
start = time.perf_counter()
summary, years = all_tables(periods)
taken = time.perf_counter() - start
assert years == 20 and "clustered" in summary.odds.interval
peak = peak_megabytes()
print(json.dumps({"seconds": taken, "megabytes": peak}))
"""


def test_time_and_memory():
    # In a process of its own, whose memory is nobody else's.
    done = subprocess.run(
        [sys.executable, "-c", MEASURE], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    found = json.loads(done.stdout)
    assert SPECIES * found["seconds"] <= 30, found
    assert found["megabytes"] <= 1024, found
