"""The faults that are put into a module."""

from pathlib import Path
from textwrap import dedent

import pytest

from tests.mutation.mutants import count_changes, mutants_of


def diffs(tmp_path: Path, text: str) -> dict[str, list[str]]:
    """The added lines of every mutant, by function."""
    path = tmp_path / "module.py"
    path.write_text(dedent(text))
    found: dict[str, list[str]] = {}
    for mutant in mutants_of(path, tmp_path):
        added = " / ".join(line[2:] for line in mutant.diff.splitlines() if line.startswith("+ "))
        found.setdefault(mutant.function, []).append(added)
    return found


@pytest.mark.parametrize(
    ("text", "function", "wanted"),
    [
        ("def f(a):\n    check(a)\n    return a < 1\n", "f", "pass"),
        ("def f(a):\n    return a < 1\n", "f", "return a <= 1"),
        ("def f(a):\n    return a < 1\n", "f", "return a < 2"),
        ("def f(a, b):\n    return a and b\n", "f", "return a or b"),
        ("def f(a):\n    if a:\n        return 1\n", "f", "if (a) and False:"),
        ("def f(a):\n    if a:\n        return 1\n", "f", "if (a) or True:"),
        (
            "def f(a):\n    return [x for x in a if x]\n",
            "f",
            "return [x for x in a if (x) or True]",
        ),
        ("def f(a):\n    if not a:\n        raise Bad('no')\n", "f", "pass"),
        ("def f(a):\n    return g(a, b=a)\n", "f", "return g(a, )"),
        ("@atomic\ndef f(a):\n    return a < 1\n", "f", "return a <= 1"),
        ("ALLOWED = (ONE, TWO)\n", "<module>", "ALLOWED = (ONE,)"),
        ("ALLOWED = {1: frozenset({A, B})}\n", "<module>", "ALLOWED = {1: frozenset({B})}"),
        ("class C:\n    def f(self):\n        return 1\n", "C.f", "return 2"),
    ],
)
def test_faults_that_are_made(tmp_path, text, function, wanted):
    assert wanted in diffs(tmp_path, text)[function]


def test_a_decorator_is_dropped(tmp_path):
    made = diffs(tmp_path, "@transaction.atomic\ndef f():\n    pass\n")
    assert made == {"f": [""]}


@pytest.mark.parametrize(
    "text",
    [
        '"""Docstring."""\n',
        "def f(a: int = None) -> str:\n    '''What it does.'''\n",
        "Cells = Mapping[str, str]\n",
        "@dataclass(frozen=True)\nclass C:\n    a: int\n",
        "from a import b\nimport c\n",
        '__all__ = ["f", "g"]\n',
    ],
)
def test_what_runs_for_readers_and_type_checkers_alone_is_left(tmp_path, text):
    assert diffs(tmp_path, text) in ({}, {"f": ['def f(a: int = "") -> str:']})


def test_equal_faults_are_told_apart_by_their_number(tmp_path):
    path = tmp_path / "module.py"
    path.write_text("def f(a):\n    a = 1\n    b(a)\n    a = 1\n    return a\n")
    twice = [m for m in mutants_of(path, tmp_path) if m.diff == "- a = 1\n+ a = 2"]
    assert [m.repeat for m in twice] == [0, 1]
    assert len({m.key for m in twice}) == 2


def test_the_key_stays_when_the_function_moves(tmp_path):
    path = tmp_path / "module.py"
    path.write_text("def f(a):\n    return a < 1\n")
    before = {m.key for m in mutants_of(path, tmp_path)}
    path.write_text("import os\n\n\ndef g():\n    os.sync()\n\n\ndef f(a):\n    return a < 1\n")
    after = {m.key for m in mutants_of(path, tmp_path) if m.function == "f"}
    assert after == before


def test_every_mutant_of_a_module_of_ours_compiles_and_differs():
    root = Path(__file__).parents[3]
    path = root / "accounts" / "access.py"
    mutants = mutants_of(path, root)
    assert len({m.source for m in mutants}) == len(mutants) > 0.9 * count_changes(path)
    for mutant in mutants:
        compile(mutant.source, mutant.path, "exec")
        assert mutant.diff
