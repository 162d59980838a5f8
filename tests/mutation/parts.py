"""The parts of `parts.toml`, the SQL mutants of `sql.toml`, the survivors of `survivors.toml`."""

import random
import re
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import groupby
from pathlib import Path

from tests.mutation.mutants import (
    OPERATORS,
    Mutant,
    count_changes,
    key_of,
    mutant_from,
    mutants_of,
    numbered,
)
from tests.mutation.scopes import SCOPES

HERE = Path(__file__).parent
ROOT = HERE.parents[1]
# Of SQL: in its own file, and as a text in a module.
_END_OF_STATEMENT = re.compile(r';\n|\n\)?"""')


@dataclass(frozen=True, kw_only=True)
class Part:
    """`sample` is how many mutants are tried when nothing else is asked for; None for all. With
    `scopes` the faults are those of `scopes.py`, all of them."""

    name: str
    modules: tuple[str, ...]
    tests: tuple[str, ...]
    sample: int | None = None
    sql: bool = False
    scopes: bool = False


@dataclass(frozen=True, kw_only=True)
class Explained:
    """A survivor that no test is to kill, and why. `repeat` tells apart equal changes in one
    function, from 0."""

    path: str
    function: str
    diff: str
    why: str
    repeat: int = 0

    @property
    def key(self) -> str:
        return key_of(self.path, self.function, self.diff, self.repeat)


def parts() -> dict[str, Part]:
    return {
        name: Part(
            name=name,
            modules=tuple(row["modules"]),
            tests=tuple(row["tests"]),
            sample=row.get("sample"),
            sql=row.get("sql", False),
            scopes=row.get("scopes", False),
        )
        for name, row in tomllib.loads((HERE / "parts.toml").read_text()).items()
    }


def explained() -> list[Explained]:
    rows = tomllib.loads((HERE / "survivors.toml").read_text()).get("survivor", [])
    return [Explained(**row | {"diff": row["diff"].strip()}) for row in rows]


def files_of(part: Part) -> list[Path]:
    return sorted({path for pattern in part.modules for path in ROOT.glob(pattern)})


def mutants_of_part(part: Part, *, sample: int | None, seed: int) -> list[Mutant]:
    """All mutants of a part, or a random sample of them; SQL mutants are tried all."""
    files = files_of(part)
    made: list[Mutant] = []
    if part.scopes or sample is None:
        operators = SCOPES if part.scopes else OPERATORS
        for path in files:
            made += mutants_of(path, ROOT, operators=operators)
    else:
        for path, places in _drawn(files, sample, seed):
            made += mutants_of(path, ROOT, places=places)
    return made + (list(sql_mutants()) if part.sql else [])


def _drawn(files: list[Path], sample: int, seed: int) -> Iterator[tuple[Path, set[int]]]:
    """Places of changes within each file, every change of the part being as likely."""
    every = [(path, place) for path in files for place in range(count_changes(path))]
    drawn = sorted(random.Random(seed).sample(every, min(sample, len(every))))
    for path, pairs in groupby(drawn, key=lambda pair: pair[0]):
        yield path, {place for _, place in pairs}


def sql_mutants() -> Iterator[Mutant]:
    """The hand-made mutants of SQL, which no operator on Python reaches. Raises ValueError that
    names every entry of `sql.toml` that does not fit its file."""
    made, wrong = [], []
    rows = tomllib.loads((HERE / "sql.toml").read_text())["mutant"]
    for number, row in enumerate(rows, start=1):
        original = (ROOT / row["path"]).read_text()
        try:
            made.append(
                sql_mutant(row["path"], original, row["find"], row["put"], row.get("after", ""))
            )
        except ValueError as error:
            wrong.append(f"sql.toml, entry {number}: {error}")
    if wrong:
        raise ValueError("\n".join(wrong))
    for _, of_file in groupby(made, key=lambda mutant: mutant.path):
        yield from numbered(of_file)


def sql_mutant(path: str, original: str, find: str, put: str, after: str = "") -> Mutant:
    """`put` for `find`, which stands exactly once in the file, or in what follows the text `after`
    up to the end of that statement. Raises ValueError otherwise."""
    begin, end = 0, len(original)
    if after:
        begin = _only_place(path, original, after, 0, end) + len(after)
        if closing := _END_OF_STATEMENT.search(original, begin):
            end = closing.end()
    where = f" in the statement after {after!r}" if after else ""
    place = _only_place(path, original, find, begin, end, where)
    source = original[:place] + put + original[place + len(find) :]
    return mutant_from(path, "SQL", original, source, is_text=True)


def _only_place(path: str, original: str, text: str, begin: int, end: int, where: str = "") -> int:
    if (times := original.count(text, begin, end)) != 1:
        raise ValueError(
            f"{path}: {text!r} stands {times} times{where}. It must stand once: "
            f"{'lengthen it or set `after`' if times else 'copy it from the file as it is now'}."
        )
    return original.index(text, begin, end)
