"""What decides that a mutant lives, and what asks for another trial."""

import sys
from dataclasses import replace
from types import SimpleNamespace

import pytest

from tests.mutation import results as of_results
from tests.mutation.forks import Ended, Outcome
from tests.mutation.mutants import Mutant
from tests.mutation.reached import (
    AND_SECONDS,
    ENOUGH_SECONDS,
    SLOWER,
    Bench,
    Reached,
    is_nearest,
)
from tests.mutation.results import Results
from tests.mutation.trying import SharedDatabase, Tried, _tried, uses_database

IN_FUNCTION = Mutant(
    path="a.py", function="f", diff="+ pass", repeat=0, line=4, lines=(2, 5), source="", body=4
)
REACHED = Reached(
    seconds={"t.py::one": 1.0, "t.py::two": 2.0, "u.py::one": 4.0},
    tests={"a.py": {1: ["u.py::one"], 4: ["t.py::one"]}},
    at_import={"a.py": [1, 2]},
)


def test_tests_that_reach_a_function():
    assert REACHED.of(IN_FUNCTION) == {"t.py::one"}
    assert REACHED.of(replace(IN_FUNCTION, lines=None)) == {"t.py::one", "u.py::one"}


@pytest.mark.parametrize(
    ("lines_at_import", "expected"),
    [([1, 2, 3], False), ([1, 2, 4], True), ([5], True), ([6], False)],
)
def test_a_function_runs_at_import_when_its_body_does(lines_at_import, expected):
    reached = replace(REACHED, at_import={"a.py": lines_at_import})
    assert reached.runs_at_import(IN_FUNCTION) is expected


def test_code_outside_functions_runs_at_import():
    assert REACHED.runs_at_import(replace(IN_FUNCTION, lines=None))
    assert REACHED.runs_at_import(replace(IN_FUNCTION, line=3))  # a default in the signature


def test_the_limit_of_time_follows_the_tests():
    assert REACHED.cpu_limit(["t.py"]) == SLOWER * 3.0 + AND_SECONDS
    assert REACHED.cpu_limit({"t.py::two", "u.py::one"}) == SLOWER * 6.0 + AND_SECONDS


def test_as_many_tests_as_the_time_allows():
    reached = replace(REACHED, seconds={"t.py::one": ENOUGH_SECONDS, "t.py::two": 1.0, "u.py": 2.0})
    assert reached.within_time(["t.py::one", "t.py::two", "u.py"]) == ["t.py::one", "t.py::two"]
    assert reached.within_time(["u.py", "t.py::two", "t.py::one"]) == [
        "u.py",
        "t.py::two",
        "t.py::one",
    ]
    assert reached.within_time(["t.py", "u.py"]) == ["t.py"]


def test_the_module_that_mirrors():
    path = "surveys/trends/models/dynamic_likelihood.py"
    assert is_nearest("tests/unit/trends/models/test_dynamic.py::test_a", path)
    assert not is_nearest("tests/unit/trends/test_abundance.py::test_a", path)


def test_what_was_reached_is_kept(tmp_path):
    bench = Bench(root=tmp_path, folder=tmp_path)
    bench.keep(REACHED)
    assert bench.reached() == REACHED
    assert REACHED.files == ["t.py", "u.py"]


@pytest.mark.parametrize(
    ("ended", "final", "outcome"),
    [
        ({"said": {"failed": True}}, True, Outcome.KILLED),
        ({"said": {"failed": 0}}, True, Outcome.SURVIVED),
        ({"said": {"failed": 0}}, False, Outcome.NOT_NOTICED),
        ({"said": {}}, True, Outcome.CRASHED),
        ({"said": {}, "in_time": False}, True, Outcome.TIMED_OUT),
    ],
)
def test_outcome_of_a_trial(ended, final, outcome):
    trial = Ended(**{"seconds": 1.0, "in_time": True} | ended)
    assert _tried(trial, (), final=final).outcome is outcome


def test_without_a_shared_database_a_test_still_gets_none_of_the_site(request, monkeypatch):
    """No test of this run asks for a database before it runs; one that does then makes its own."""
    assert not uses_database(request.node)
    conftest = sys.modules["tests.conftest"]
    made = conftest.database_of_this_run
    monkeypatch.setattr(conftest, "database_of_this_run", made)
    shared = SharedDatabase(SimpleNamespace(config=request.config, items=[request.node]))
    shared.use_in_fork()
    assert conftest.database_of_this_run is made
    with pytest.raises(RuntimeError, match="None of the tests opens a database"):
        shared.make_views("CREATE VIEW counted_visit AS SELECT 1;")


class TestKept:
    @pytest.fixture
    def kept(self, tmp_path, monkeypatch):
        monkeypatch.setattr(of_results, "ROOT", tmp_path)
        (tmp_path / "a.py").write_text("def f(): ...\n")
        return Results(tmp_path / "part.jsonl")

    @pytest.mark.parametrize(
        ("outcome", "known", "known_again"),
        [
            (Outcome.KILLED, True, True),
            (Outcome.TIMED_OUT, True, True),
            (Outcome.SURVIVED, True, False),
            (Outcome.NOT_NOTICED, False, False),
            (Outcome.NOT_TRIED, False, False),
            (Outcome.CRASHED, False, False),
        ],
    )
    def test_what_needs_no_other_trial(self, kept, outcome, known, known_again):
        kept.keep(IN_FUNCTION, Tried(outcome=outcome))
        read = Results(kept.path)
        assert read.is_known(IN_FUNCTION, again=False) is known
        assert read.is_known(IN_FUNCTION, again=True) is known_again

    def test_another_file_asks_for_another_trial(self, kept, tmp_path):
        kept.keep(IN_FUNCTION, Tried(outcome=Outcome.KILLED))
        (tmp_path / "a.py").write_text("def f(): return 1\n")
        assert kept.of(IN_FUNCTION) is None

    def test_a_later_trial_counts(self, kept):
        kept.keep(IN_FUNCTION, Tried(outcome=Outcome.NOT_NOTICED))
        kept.keep(IN_FUNCTION, Tried(outcome=Outcome.KILLED, test="t.py::one"))
        assert Results(kept.path).of(IN_FUNCTION).test == "t.py::one"
