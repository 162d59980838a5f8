"""The command behind `deploy/mutate`. See its --help."""

import argparse
import contextlib
import fcntl
import importlib
import os
import random
import sys
import time
from collections.abc import Sequence

from tests.mutation.forks import Outcome
from tests.mutation.mutants import Mutant
from tests.mutation.parts import ROOT, Part, explained, mutants_of_part, parts
from tests.mutation.reached import Bench, Reached
from tests.mutation.results import FINAL, Result, Results, Tally, tally
from tests.mutation.trying import Tried, quick_trials, slow_trial

FOLDER = ROOT / "var" / "mutation"
TERMINAL = os.dup(1)  # forks write theirs into a log
START_SECONDS = 60  # CPU time of Django, PostGIS and collecting, and more
# What every trial needs and nothing of the project: imported once, before the forks.
THIRD_PARTY = (
    "_pytest.main",
    "coverage",
    "django.db.models",
    "django.template",
    "django.test",
    "ephem",
    "numpy",
    "openpyxl",
    "PIL.Image",
    "psycopg",
    "scipy.optimize",
    "scipy.special",
    "scipy.stats",
)


def main() -> None:
    options = _options()
    FOLDER.mkdir(parents=True, exist_ok=True)
    os.environ["DJANGO_SETTINGS_MODULE"] = "deploy.settings.test"
    os.chdir(ROOT)
    os.nice(15)
    chosen = [part for name, part in parts().items() if name in options.parts]
    if not options.report:
        os.environ["TEST_DB_SUFFIX"] = os.environ.get("TEST_DB_SUFFIX", "main") + "_mutate"
        for name in THIRD_PARTY:
            importlib.import_module(name)
        for part in chosen:
            _try_part(part, options)
    for part in chosen:
        _report(part, options)


def _options() -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="deploy/mutate", description=__doc__)
    names = sorted(parts())
    parser.add_argument("parts", nargs="*", metavar="PART", help=f"of {', '.join(names)}")
    parser.add_argument("--sample", type=int, help="how many mutants of each part; 0 for all")
    parser.add_argument("--seed", type=int, default=10, help="another seed, another sample")
    parser.add_argument(
        "--only", action="append", metavar="TEXT", help="only files whose path holds this text"
    )
    parser.add_argument("--again", action="store_true", help="try survivors once more")
    parser.add_argument("--report", action="store_true", help="say what is known; try nothing")
    options = parser.parse_args()
    options.parts = options.parts or names
    if unknown := set(options.parts) - set(names):
        parser.error(f"There is no part {', '.join(unknown)}. Parts are {', '.join(names)}.")
    return options


def _mutants(part: Part, options: argparse.Namespace) -> list[Mutant]:
    sample = part.sample if options.sample is None else options.sample or None
    mutants = mutants_of_part(part, sample=sample, seed=options.seed)
    only = options.only or [""]
    return [mutant for mutant in mutants if any(text in mutant.path for text in only)]


def _try_part(part: Part, options: argparse.Namespace) -> None:
    results = Results(FOLDER / f"{part.name}.jsonl")
    mutants = [m for m in _mutants(part, options) if not results.is_known(m, again=options.again)]
    random.Random(options.seed).shuffle(mutants)  # what a run that is stopped has tried is a sample
    _say(f"{part.name}: {len(mutants)} mutants to try")
    if not mutants:
        return
    folder = FOLDER / part.name
    folder.mkdir(exist_ok=True)
    lock = (folder / "lock").open("w")
    try:
        fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        sys.exit(f"Another deploy/mutate is at work on {part.name}; wait for it or end it.")
    bench = Bench(root=ROOT, folder=folder)
    left = folder / "left.txt"
    left.unlink(missing_ok=True)

    def tell_quick(mutant: Mutant, tried: Tried) -> None:
        results.keep(mutant, tried)
        _progress(mutant, tried)
        if tried.outcome not in FINAL:
            with left.open("a") as file:
                file.write("\t".join((mutant.key, *tried.files)) + "\n")

    quick_trials(bench, part.tests, mutants, tell_quick)
    results = Results(results.path)  # with what the other process has kept
    reached = bench.reached()
    by_key = {mutant.key: mutant for mutant in mutants}
    for line in left.read_text().splitlines() if left.exists() else []:
        key, *files = line.split("\t")
        mutant = by_key[key]
        tried = _try_slowly(bench, reached, _in_turn(results, reached, mutant, files), mutant)
        results.keep(mutant, tried)
        _progress(mutant, tried)


def _in_turn(
    results: Results, reached: Reached, mutant: Mutant, files: Sequence[str]
) -> list[list[str]]:
    """The most likely test file by itself first: collecting the others costs most of the time.
    Then the others that reach the mutant, as many as the time allows."""
    ranked = results.best_first(mutant.path, files or reached.files)
    first, *others = reached.within_time(ranked)
    return [turn for turn in ([first], others) if turn]


def _try_slowly(
    bench: Bench, reached: Reached, turns: Sequence[Sequence[str]], mutant: Mutant
) -> Tried:
    for files in turns:
        limit = reached.cpu_limit(files) + START_SECONDS
        tried = slow_trial(bench, files, mutant, limit)
        if tried.outcome is not Outcome.SURVIVED:
            break
    return tried


def _report(part: Part, options: argparse.Namespace) -> None:
    results = Results(FOLDER / f"{part.name}.jsonl")
    counts = tally([results.of(mutant) for mutant in _mutants(part, options)], explained())
    _say(_summary(part, counts))
    for result in counts.unexplained:
        _say(_shown(result))


def _summary(part: Part, counts: Tally) -> str:
    low, high = counts.bounds
    share = len(counts.unexplained) / max(counts.tried, 1)
    return (
        f"{part.name}: {counts.drawn} drawn, {counts.tried} tried, {counts.killed} killed, "
        f"{counts.timed_out} timed out, {counts.survived} survived, of these {counts.explained} "
        f"explained; unexplained {len(counts.unexplained)}, {share:.1%} "
        f"(95 % interval {low:.1%} to {high:.1%})"
    )


def _shown(result: Result) -> str:
    return f"\n{result.path} {result.function} ({result.outcome})\n{result.diff}"


def _progress(mutant: Mutant, tried: Tried) -> None:
    clock = time.strftime("%H:%M:%S")
    _say(f"{clock} {tried.outcome:9} {tried.seconds:6.1f} s {mutant.path} {mutant.function}")


def _say(text: str) -> None:
    with contextlib.suppress(BrokenPipeError):
        os.write(TERMINAL, f"{text}\n".encode())


main()
