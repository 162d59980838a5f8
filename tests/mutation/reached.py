"""Which tests reach which lines, and how long they take: from a run without a mutant."""

import json
import sys
from collections import Counter
from collections.abc import Collection, Sequence
from dataclasses import asdict, dataclass, field
from functools import cached_property
from itertools import accumulate
from pathlib import Path

from tests.mutation.mutants import Mutant

# A mutant may take so many times as long as the code it was made from, and this more.
SLOWER, AND_SECONDS = 4, 15
# A trial runs tests of so many seconds. A test that would come after them is one that would notice
# what all the nearer ones let pass.
ENOUGH_SECONDS = 20


@dataclass(kw_only=True)
class Reached:
    """From the run without a mutant: seconds by test, tests by file and line, and by file the
    lines that ran before the first test."""

    seconds: dict[str, float] = field(default_factory=dict)
    tests: dict[str, dict[int, list[str]]] = field(default_factory=dict)
    at_import: dict[str, list[int]] = field(default_factory=dict)

    def of(self, mutant: Mutant) -> set[str]:
        """The tests that execute its function, or anything in its file."""
        first, last = mutant.lines or (1, sys.maxsize)
        return {
            test
            for line, tests in self.tests.get(mutant.path, {}).items()
            if first <= line <= last
            for test in tests
        }

    def runs_at_import(self, mutant: Mutant) -> bool:
        """Whether something of its function ran before the first test. `def` and the defaults of
        parameters always do."""
        if mutant.lines is None or mutant.line < mutant.body:
            return True
        _, last = mutant.lines
        return any(mutant.body <= line <= last for line in self.at_import.get(mutant.path, []))

    def cpu_limit(self, tests: Collection[str]) -> float:
        """How long these tests or test files may take before they count as endless."""
        return SLOWER * self.usual(tests) + AND_SECONDS

    def usual(self, tests: Collection[str]) -> float:
        return sum(self.seconds.get(test, self._seconds_of_files.get(test, 0.0)) for test in tests)

    @cached_property
    def _seconds_of_files(self) -> Counter[str]:
        total: Counter[str] = Counter()
        for test, seconds in self.seconds.items():
            total[file_of(test)] += seconds
        return total

    def within_time(self, ranked: Sequence[str]) -> list[str]:
        """The first of these tests or test files, until they take ENOUGH_SECONDS."""
        totals = accumulate(self.usual([tests]) for tests in ranked)
        before = (0.0, *totals)
        return [tests for tests, at in zip(ranked, before, strict=False) if at <= ENOUGH_SECONDS]

    @property
    def files(self) -> list[str]:
        return sorted({file_of(test) for test in self.seconds})


def file_of(test: str) -> str:
    return test.split("::")[0]


def is_nearest(test: str, path: str) -> bool:
    """Whether a test stands in the module that mirrors the mutant's: `test_dynamic.py` for
    `dynamic.py` and `dynamic_likelihood.py`."""
    return Path(path).stem.startswith(Path(file_of(test)).stem.removeprefix("test_"))


@dataclass(kw_only=True)
class Bench:
    """Where the project lies, and where trials write."""

    root: Path
    folder: Path

    def keep(self, reached: Reached) -> None:
        (self.folder / "reached.json").write_text(json.dumps(asdict(reached)))

    def reached(self) -> Reached:
        """What the last run without a mutant reached."""
        kept = json.loads((self.folder / "reached.json").read_text())
        by_line = {
            path: {int(line): tests for line, tests in lines.items()}
            for path, lines in kept["tests"].items()
        }
        return Reached(**kept | {"tests": by_line})
