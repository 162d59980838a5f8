"""What is made quicker tells the same."""

import json

import pytest

from tests.benchmarks.trends.kept_numbers import FILE, PROGRAMS, numbers_of

pytestmark = pytest.mark.benchmark


@pytest.mark.parametrize(
    "program",
    [PROGRAMS[0], *(pytest.param(p, marks=pytest.mark.slow) for p in PROGRAMS[1:])],
    ids=str,
)
def test_numbers_are_those_from_before(program):
    kept = json.loads(FILE.read_text("utf-8"))[" ".join(map(str, program))]
    found = numbers_of(*program)
    assert found.keys() == kept.keys()
    # A share of a billionth is 0; all others agree to a millionth of their size.
    assert found == pytest.approx(kept, rel=1e-6, abs=1e-7)
