"""Which tests reach which lines, and how long they take: from a run without a mutant."""

import json
import sys
from collections.abc import Collection
from dataclasses import asdict, dataclass, field
from pathlib import Path

from tests.mutation.mutants import Mutant

# A mutant may take so many times as long as the code it was made from, and this more.
SLOWER, AND_SECONDS = 4, 15


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
        usual = sum(
            seconds
            for test, seconds in self.seconds.items()
            if test in tests or test.split("::")[0] in tests
        )
        return SLOWER * usual + AND_SECONDS

    @property
    def files(self) -> list[str]:
        return sorted({test.split("::")[0] for test in self.seconds})


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
