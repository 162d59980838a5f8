"""The lists that stand in the repository fit the code as it is, and the counts are right."""

import pytest

from tests.mutation import parts as of_parts
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
from tests.support.for_each import for_each


@for_each("row", explained(), lambda row: f"{row.path} {row.function}")
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
    text = "VIEW a\nWHERE a AND b;\nVIEW b\nWHERE a\n  OR c;\nVIEW c\nWHERE a;\n"
    first = sql_mutant("x.sql", text, " AND b", "")
    assert first.source == text.replace(" AND b", "")
    second = sql_mutant("x.sql", text, "WHERE a", "WHERE c", after="VIEW b\n")
    assert second.source == text.replace("WHERE a\n", "WHERE c\n")
    with pytest.raises(ValueError, match=r"'WHERE a' stands 3 times\. .*lengthen it"):
        sql_mutant("x.sql", text, "WHERE a", "")
    with pytest.raises(ValueError, match=r"'WHERE d' stands 0 times\. .*copy it"):
        sql_mutant("x.sql", text, "WHERE d", "")
    with pytest.raises(ValueError, match="'VIEW' stands 3 times"):
        sql_mutant("x.sql", text, "c", "", after="VIEW")
    with pytest.raises(ValueError, match="'AND b' stands 0 times in the statement after 'VIEW b'"):
        sql_mutant("x.sql", text, "AND b", "", after="VIEW b")


def test_a_text_of_sql_in_a_module_ends_at_its_quotes():
    module = 'A = f"""\nWHERE a\n)"""  # ours\nB = """\nWHERE a\n"""\nC = """\nWHERE a\n"""\n'
    for name in "ABC":
        changed = sql_mutant("x.py", module, "WHERE a", "WHERE b", after=f"{name} = ").source
        assert [part.count("WHERE b") for part in changed.split(" = ")] == [
            int(name == other) for other in " ABC"
        ]


def test_every_entry_that_fits_no_place_is_named(tmp_path, monkeypatch):
    entry = '[[mutant]]\npath = "surveys/models/counted.sql"\nfind = "{}"\nput = ""\n'
    listed = [entry.format(find) for find in ("WHERE listed", "no such words", "SELECT")]
    (tmp_path / "sql.toml").write_text("".join(listed))
    monkeypatch.setattr(of_parts, "HERE", tmp_path)
    with pytest.raises(ValueError, match=r"entry 2: .* 0 times(.|\n)*entry 3: .* times") as caught:
        list(sql_mutants())
    assert "entry 1" not in str(caught.value)


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
