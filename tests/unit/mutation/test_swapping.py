"""Putting a mutant into modules that are imported already."""

import dataclasses
import gc
import importlib
import sys

import pytest

from tests.mutation.plugin import MutatedModule
from tests.mutation.swapping import (
    NotExecutableError,
    live_functions,
    rebind_constants,
    rebind_texts,
    renew_constants,
    swap_functions,
)

ORIGINAL = '''
import dataclasses
import functools

LIMIT = 3
ALLOWED = {"a": (1, 2)}
SQL = """SELECT 1 WHERE a"""
IN_TURN = ("BEGIN", f"{SQL} LIMIT 1")
BY_NAME = {"all": SQL}


@dataclasses.dataclass(frozen=True)
class Table:
    source: str
    key: int


TABLE = Table(source=f"FROM ({SQL}) s", key=1)


def below(value):
    return value < LIMIT


def twice(function):
    @functools.wraps(function)
    def wrapped(value):
        return function(value) * 2

    return wrapped


def repeated(times):
    def decorate(function):
        def wrapped(value):
            return [function(value) + 5] * times

        return wrapped

    return decorate


@repeated(2)
def listed(value):
    return value


@twice
def stored(value):
    return value + 1


class Scale:
    @property
    def top(self):
        return max(n + 1 for n in range(LIMIT))
'''


@pytest.fixture
def module(tmp_path, monkeypatch):
    (tmp_path / "swapped.py").write_text(ORIGINAL)
    monkeypatch.syspath_prepend(tmp_path)
    importlib.invalidate_caches()
    yield importlib.import_module("swapped")
    del sys.modules["swapped"]


def swap(module, before, after):
    assert ORIGINAL.count(before) == 1
    live = live_functions(module.__file__)
    return swap_functions(module.__file__, ORIGINAL, ORIGINAL.replace(before, after), live)


def test_a_function_that_was_imported_elsewhere(module):
    below = module.below
    assert swap(module, "value < LIMIT", "value <= LIMIT")
    assert below(3)


def test_a_function_that_is_frozen(module):
    gc.freeze()
    assert swap(module, "value < LIMIT", "value <= LIMIT")


def test_a_function_inside_a_decorator(module):
    assert swap(module, "value + 1", "value - 1")
    assert module.stored(5) == 8


def test_what_a_decorator_made(module):
    assert swap(module, "* 2", "* 3")
    assert module.stored(5) == 18


def test_what_a_decorator_with_arguments_made(module):
    assert swap(module, "+ 5", "+ 6")
    assert module.listed(1) == [7, 7]


def test_a_property_with_a_comprehension(module):
    assert swap(module, "n + 1 for", "n + 7 for")
    assert module.Scale().top == 9


@pytest.mark.parametrize(
    ("before", "after"),
    [("LIMIT = 3", "LIMIT = 4"), ("@twice\n", ""), ("def below(value):", "def below(value=1):")],
)
def test_what_runs_at_import_needs_another_import(module, before, after):
    assert not swap(module, before, after)
    assert module.LIMIT == 3


def test_a_table_that_was_imported_elsewhere(module, monkeypatch):
    other = type(sys)("other_than_swapped")
    other.ALLOWED = module.ALLOWED
    other.MOST = 3
    monkeypatch.setitem(sys.modules, "other_than_swapped", other)
    mutated = ORIGINAL.replace("(1, 2)", "(1,)")
    assert rebind_constants("swapped", module.__file__, ORIGINAL, mutated)
    assert other.ALLOWED == module.ALLOWED == {"a": (1,)}
    assert module.LIMIT == 3
    mutated = ORIGINAL.replace("LIMIT = 3", "LIMIT = 4")
    assert rebind_constants("swapped", module.__file__, ORIGINAL, mutated)
    assert (module.LIMIT, other.MOST) == (4, 3)


@pytest.mark.parametrize(
    ("before", "after"),
    [
        ("@twice\n", ""),
        ("def below(value):", "def below(value=1):"),
        ("value < LIMIT", "value <= LIMIT"),
        ("return max(", "return min("),
    ],
)
def test_what_is_no_constant_is_not_exchanged_as_one(module, before, after):
    mutated = ORIGINAL.replace(before, after)
    assert not rebind_constants("swapped", module.__file__, ORIGINAL, mutated)


def test_a_module_that_cannot_be_executed(module):
    mutated = ORIGINAL.replace("LIMIT = 3", "LIMIT = 3 / 0")
    with pytest.raises(NotExecutableError, match="ZeroDivisionError"):
        rebind_constants("swapped", module.__file__, ORIGINAL, mutated)
    assert module.LIMIT == 3


def test_constants_made_once_more_are_equal(module):
    was = module.ALLOWED
    renew_constants("swapped", module.__file__, ORIGINAL)
    assert was == module.ALLOWED
    assert module.ALLOWED is not was


def test_a_constant_text_that_was_imported_elsewhere(module, monkeypatch):
    other = type(sys)("other_than_swapped")
    other.SQL = module.SQL
    monkeypatch.setitem(sys.modules, "other_than_swapped", other)
    assert rebind_texts("swapped", module.__file__, ORIGINAL.replace(" WHERE a", ""))
    assert other.SQL == module.SQL == "SELECT 1"
    assert module.IN_TURN == ("BEGIN", "SELECT 1 LIMIT 1")
    assert module.BY_NAME == {"all": "SELECT 1"}
    assert dataclasses.asdict(module.TABLE) == {"source": "FROM (SELECT 1) s", "key": 1}


def test_a_constant_text_within_a_longer_one(module, monkeypatch):
    other = type(sys)("surveys.other_than_swapped")
    other.LONGER = f"{module.SQL} ORDER BY b"
    monkeypatch.setitem(sys.modules, "surveys.other_than_swapped", other)
    assert rebind_texts("swapped", module.__file__, ORIGINAL.replace(" WHERE a", ""))
    assert other.LONGER == "SELECT 1 ORDER BY b"


def test_a_module_is_imported_from_another_text(tmp_path, monkeypatch):
    (tmp_path / "fresh.py").write_text("LIMIT = 3\n")
    monkeypatch.syspath_prepend(tmp_path)
    importlib.invalidate_caches()
    hook = MutatedModule("fresh.py", tmp_path, "LIMIT = 4\n")
    monkeypatch.setattr(sys, "meta_path", list(sys.meta_path))
    hook.install()
    try:
        assert importlib.import_module("fresh").LIMIT == 4
        with pytest.raises(RuntimeError, match="imported already"):
            hook.install()
    finally:
        sys.modules.pop("fresh", None)
