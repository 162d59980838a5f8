"""The lists that stand in the repository fit the code as it is, and the counts are right."""

import pytest

from tests.mutation.forks import Outcome
from tests.mutation.parts import (
    ROOT,
    Explained,
    explained,
    files_of,
    parts,
    sql_mutant,
    sql_mutants,
)
from tests.mutation.results import Result, tally, wilson


@pytest.mark.parametrize("row", explained(), ids=lambda row: f"{row.path} {row.function}")
def test_the_lines_of_every_explained_survivor_are_still_there(row):
    """That they are still mutants is what a run shows; making them all takes too long here."""
    lines = [line.strip() for line in (ROOT / row.path).read_text().splitlines()]
    signs = [line[0] for line in row.diff.splitlines()]
    removed = [line[2:] for line in row.diff.splitlines() if line[0] == "-"]
    assert set(signs) <= {"-", "+"}
    assert set(removed) <= set(lines)
    assert lines.count(removed[0]) > row.repeat
    assert row.why


def test_every_mutant_of_sql_can_be_made():
    keys = [mutant.key for mutant in sql_mutants()]
    assert len(keys) == len(set(keys)) > 0


def test_parts_name_files_and_tests_that_exist():
    for part in parts().values():
        assert files_of(part)
        assert all((ROOT / test).exists() for test in part.tests)


def test_sql_to_replace_must_be_there_once():
    text = "WHERE a AND b\nWHERE a\n"
    assert sql_mutant("x.sql", text, " AND b", "").source == "WHERE a\nWHERE a\n"
    assert sql_mutant("x.sql", text, "a", "c", after="b\n").source == "WHERE a AND b\nWHERE c\n"
    with pytest.raises(ValueError, match="stands 2 times"):
        sql_mutant("x.sql", text, "WHERE a", "")
    with pytest.raises(ValueError, match="does not come after"):
        sql_mutant("x.sql", text, "b", "", after="b\nWHERE")


# Newcombe 1998, Statistics in Medicine 17: 857, table I, method 3; from memory.
@pytest.mark.parametrize(
    ("count", "total", "low", "high"),
    [
        (81, 263, 0.2553, 0.3662),
        (15, 148, 0.0624, 0.1605),
        (0, 20, 0.0000, 0.1611),
        (1, 29, 0.0061, 0.1718),
    ],
)
def test_interval_of_a_share(count, total, low, high):
    assert wilson(count, total) == pytest.approx((low, high), abs=5e-5)


def result(key: str, outcome: Outcome) -> Result:
    return Result(
        key=key,
        path="a.py",
        function="f",
        diff="+ pass",
        outcome=outcome,
        test="",
        seconds=0,
        file_hash="",
    )


def test_counts():
    explanation = Explained(path="a.py", function="f", diff="+ 2", why="Equal.")
    outcomes = {
        "a": Outcome.KILLED,
        "b": Outcome.TIMED_OUT,
        explanation.key: Outcome.SURVIVED,
        "d": Outcome.SURVIVED,
    }
    results = [result(*pair) for pair in outcomes.items()]
    counts = tally([*results, None], [explanation])
    assert (counts.drawn, counts.tried) == (5, 4)
    assert (counts.tried, counts.killed, counts.timed_out, counts.survived) == (4, 1, 1, 2)
    assert counts.explained == 1
    assert [row.key for row in counts.unexplained] == ["d"]
