"""What became of each mutant, kept in `var/mutation/PART.jsonl` so that a run can be taken up."""

import json
from collections import Counter
from collections.abc import Collection, Sequence
from dataclasses import asdict, dataclass
from hashlib import sha256
from math import sqrt
from pathlib import Path

from tests.mutation.forks import Outcome
from tests.mutation.mutants import Mutant
from tests.mutation.parts import ROOT, Explained
from tests.mutation.reached import file_of, is_nearest
from tests.mutation.trying import Tried

FINAL = (Outcome.KILLED, Outcome.TIMED_OUT, Outcome.SURVIVED)
WILSON_95 = 1.959964  # standard normal quantile at 0.975


@dataclass(frozen=True, kw_only=True)
class Result:
    """`file_hash` is that of the file without the mutant: another file asks for another trial."""

    key: str
    path: str
    function: str
    diff: str
    outcome: str
    test: str
    seconds: float
    file_hash: str


class Results:
    """The results of one part; later lines of the file replace earlier ones."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.by_key: dict[str, Result] = {}
        if path.exists():
            for line in path.read_text().splitlines():
                result = Result(**json.loads(line))
                self.by_key[result.key] = result

    def keep(self, mutant: Mutant, tried: Tried) -> None:
        result = Result(
            key=mutant.key,
            path=mutant.path,
            function=mutant.function,
            diff=mutant.diff,
            outcome=tried.outcome,
            test=tried.test,
            seconds=round(tried.seconds, 2),
            file_hash=hash_of_file(mutant.path),
        )
        self.by_key[mutant.key] = result
        with self.path.open("a") as file:
            file.write(json.dumps(asdict(result)) + "\n")

    def best_first(self, path: str, files: Sequence[str]) -> list[str]:
        """Test files in order of how many mutants of this module they killed; the nearest one
        where none did."""
        kills = Counter(file_of(row.test) for row in self.by_key.values() if row.path == path)
        return sorted(files, key=lambda file: (-kills[file], not is_nearest(file, path)))

    def of(self, mutant: Mutant) -> Result | None:
        """What became of it, if that was decided with its file as it is now."""
        result = self.by_key.get(mutant.key)
        if result is None or result.file_hash != hash_of_file(mutant.path):
            return None
        return result if result.outcome in FINAL else None

    def is_known(self, mutant: Mutant, *, again: bool) -> bool:
        """Whether a mutant needs no trial; `again` tries once more what was not killed."""
        result = self.of(mutant)
        return result is not None and not (again and result.outcome == Outcome.SURVIVED)


def hash_of_file(path: str) -> str:
    return sha256((ROOT / path).read_bytes()).hexdigest()[:16]


@dataclass(frozen=True, kw_only=True)
class Tally:
    """Counts of mutants, and bounds of the share that is unexplained among those tried."""

    drawn: int
    tried: int
    killed: int
    timed_out: int
    survived: int
    unexplained: Sequence[Result]

    @property
    def explained(self) -> int:
        return self.survived - len(self.unexplained)

    @property
    def bounds(self) -> tuple[float, float]:
        return wilson(len(self.unexplained), self.tried)


def tally(results: Collection[Result | None], explanations: Sequence[Explained]) -> Tally:
    """Counts over the results of all mutants that were drawn; None is not decided yet."""

    def of(outcome: Outcome) -> list[Result]:
        return [result for result in results if result and result.outcome == outcome]

    known = {row.key for row in explanations}
    survivors = of(Outcome.SURVIVED)
    return Tally(
        drawn=len(results),
        tried=sum(result is not None for result in results),
        killed=len(of(Outcome.KILLED)),
        timed_out=len(of(Outcome.TIMED_OUT)),
        survived=len(survivors),
        unexplained=[result for result in survivors if result.key not in known],
    )


def wilson(count: int, total: int) -> tuple[float, float]:
    """Bounds of a share with 95 % confidence (Wilson 1927, J. Am. Stat. Assoc. 22: 209)."""
    if not total:
        return 0.0, 1.0
    share, z2 = count / total, WILSON_95**2
    middle = (share + z2 / (2 * total)) / (1 + z2 / total)
    half = WILSON_95 * sqrt(share * (1 - share) / total + z2 / (4 * total**2)) / (1 + z2 / total)
    return max(0.0, middle - half), min(1.0, middle + half)
