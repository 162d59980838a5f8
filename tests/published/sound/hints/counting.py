"""How often a hint is right and wrong, by class of sound."""

from __future__ import annotations

import hashlib
from collections import Counter
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path

import numpy as np
from scipy.stats import binomtest

import surveys.sound
from surveys.sound.hint import hints
from surveys.sound.measures import measure
from tests.published.sound.hints.clips import CLASSES, LISTED, REFERENCES, program

_HEAD = """# How often the hint is right

Written by `deploy/calibrate --hints`. Clips made by computer, 20 s each, from programs that keep \
{references} reference calls of each listed species whose call can be made; of a region, all but \
three species are listed. A clip is named where any band names species, and wrong where a band \
names none of those that call in it. In brackets: the 95 % upper limit (Clopper & Pearson). No \
animal stands behind these sounds, so real recordings will do worse. Code of `surveys/sound`: \
{code}.

In the classes below "{listed}" no listed species calls, so every name there is wrong by \
definition: of these only the share of all clips can be kept low.
"""
_PART = 50
# Of clips of animals few are named: with more clips an upper limit of 5 % of those can be told.
_TIMES = {
    "one male of a listed species": 2.5,
    "several males of a listed species": 5.0,
    "two listed species": 2.5,
    "a species that is not listed": 2.5,
}
_LISTED_TOGETHER = "all sounds of listed species"
# With other seeds, limits of the hint were set.
_HELD_OUT = 20261202


@dataclass
class Counts:
    """Of one class of sound. By species: clips that hold it, and those that also name it."""

    clips: int = 0
    named: int = 0
    wrong: int = 0
    there: Counter[str] = field(default_factory=Counter)
    hit: Counter[str] = field(default_factory=Counter)

    def add(self, other: Counts) -> None:
        self.clips += other.clips
        self.named += other.named
        self.wrong += other.wrong
        self.there += other.there
        self.hit += other.hit


def count(name: str, clips: range) -> Counts:
    """Each clip has a seed of its own, so that some of them can be counted again."""
    made = CLASSES[name]
    counts = Counts()
    for number in clips:
        rng = np.random.default_rng([_HELD_OUT, number, *name.encode()])
        where = program(rng)
        clip = made(rng, where)
        found = hints(measure(clip.wave).bands, where.known(), clip.celsius)
        named = [set(hint.species) for hint in found if hint.species]
        counts.clips += 1
        counts.named += bool(named)
        counts.wrong += any(not several & clip.there for several in named)
        counts.there.update(clip.there)
        counts.hit.update(clip.there & {code for several in named for code in several})
    return counts


def count_all(clips: int, workers: int) -> Iterator[tuple[str, Counts]]:
    """At least `clips` of each class."""
    with ProcessPoolExecutor(workers) as pool:
        for name in CLASSES:
            number = round(_TIMES.get(name, 1.0) * clips)
            parts = [range(at, min(at + _PART, number)) for at in range(0, number, _PART)]
            counts = Counts()
            for part in pool.map(partial(count, name), parts):
                counts.add(part)
            yield name, counts


def document(counted: dict[str, Counts]) -> str:
    rows = [
        "| class | clips | named | wrong | of the named % | of all clips % |",
        "|---|---:|---:|---:|---|---|",
    ]
    together = Counts()
    for name in LISTED:
        together.add(counted[name])
        rows.append(_row(name, counted[name], _share(counted[name].wrong, counted[name].named)))
    rows.append(_row(_LISTED_TOGETHER, together, _share(together.wrong, together.named)))
    rows += [
        _row(name, one, "all, by definition" if one.named else "none named")
        for name, one in counted.items()
        if name not in LISTED
    ]
    there, hit = together.there, together.hit
    species = ["| listed species | clips | named |", "|---|---:|---:|"]
    species += [f"| {code} | {there[code]} | {hit[code]} |" for code in sorted(there)]
    head = _HEAD.format(references=REFERENCES, code=code_of_sound(), listed=_LISTED_TOGETHER)
    return "\n".join((head, *rows, "", *species, ""))


def _row(name: str, one: Counts, of_named: str) -> str:
    shares = f"{of_named} | {_share(one.wrong, one.clips)}"
    return f"| {name} | {one.clips} | {one.named} | {one.wrong} | {shares} |"


def code_of_sound() -> str:
    """A checksum of the sources of what measures, synthesizes and hints."""
    files = sorted(Path(surveys.sound.__file__).parent.glob("*.py"))
    return hashlib.sha256(b"".join(file.read_bytes() for file in files)).hexdigest()[:8]


def most(part: int, whole: int) -> float:
    """95 % upper limit of a share, by Clopper and Pearson."""
    return float(binomtest(part, whole, alternative="less").proportion_ci(0.95, "exact").high)


def _share(part: int, whole: int) -> str:
    if not whole:
        return "none named"
    return f"{100 * part / whole:.1f} ({100 * most(part, whole):.1f})"
