"""The estimators in a notebook: no Django, nothing else of the application."""

import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[3]
NOTEBOOK = """
import sys

class Closed:
    def find_spec(self, name, path=None, target=None):
        if name.split(".")[0] in {"django", "psycopg", "rest_framework", "accounts", "deploy"}:
            raise ImportError(f"{name} is closed here")

sys.meta_path.insert(0, Closed())
from surveys.trends import fit_occupancy, occupancy_share

fit = fit_occupancy([[1, 1, 0], [0, 1, 1], [0, 0, 0], [1, 0, 1], [0, 0, float("nan")]])
share = occupancy_share(fit)
assert 0.6 < share.value < 0.7, share
assert not [name for name in sys.modules if name.split(".")[0] in {"django", "accounts"}]
print("fitted")
"""


def test_fit_occupancy_with_django_closed():
    done = subprocess.run(
        [sys.executable, "-c", NOTEBOOK], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert done.stdout == "fitted\n", done.stderr
