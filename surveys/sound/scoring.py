"""What an answer about calls is worth: species that were there, species that were named."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field


@dataclass(frozen=True, kw_only=True)
class Heard:
    """A species that called, or that was named, or both. An index is None where it is not known
    or was not asked."""

    species: str
    was_there: bool
    was_named: bool
    index_there: int | None = None
    index_named: int | None = None


@dataclass(frozen=True, kw_only=True)
class Count:
    """`right` of `of`."""

    right: int = 0
    of: int = 0

    @property
    def share(self) -> float | None:
        """From 0 to 1; None of nothing."""
        return self.right / self.of if self.of else None

    def reaches(self, percent: int) -> bool:
        """Whether the share is at least so many percent; nothing reaches no mark but 0.

        >>> Count(right=4, of=5).reaches(80), Count(right=79, of=100).reaches(80)
        (True, False)
        >>> Count().reaches(0), Count().reaches(1)
        (True, False)
        """
        if not self.of:
            return percent == 0
        return 100 * self.right >= percent * self.of


@dataclass(frozen=True, kw_only=True)
class Score:
    """`overall` counts each species of each question that called or was named: right if both.
    `index` counts those that were right and whose index is known. `false` are species that were
    named and did not call, `missed` those that called and were not named."""

    overall: Count = Count()
    index: Count = Count()
    by_species: Mapping[str, Count] = field(default_factory=dict)
    missed: int = 0
    false: int = 0


def compare(there: Mapping[str, int | None], named: Mapping[str, int | None]) -> list[Heard]:
    """One row for each species that called or was named, by code.

    >>> [(row.species, row.was_there, row.was_named) for row in compare({"a": 2}, {"b": 1})]
    [('a', True, False), ('b', False, True)]
    """
    return [
        Heard(
            species=code,
            was_there=code in there,
            was_named=code in named,
            index_there=there.get(code),
            index_named=named.get(code),
        )
        for code in sorted({*there, *named})
    ]


def is_right(row: Heard) -> bool:
    """In practice: named and there; with the right index, where it was asked and is known."""
    return (
        row.was_there
        and row.was_named
        and (None in (row.index_there, row.index_named) or row.index_there == row.index_named)
    )


def score(rows: Iterable[Heard]) -> Score:
    """The rows of all questions of a try."""
    by_species: dict[str, list[bool]] = defaultdict(list)
    indexes: list[bool] = []
    missed = false = 0
    for row in rows:
        both = row.was_there and row.was_named
        by_species[row.species].append(both)
        missed += row.was_there and not row.was_named
        false += row.was_named and not row.was_there
        if both and row.index_there is not None and row.index_named is not None:
            indexes.append(row.index_there == row.index_named)
    return Score(
        overall=_count([right for found in by_species.values() for right in found]),
        index=_count(indexes),
        by_species={code: _count(found) for code, found in sorted(by_species.items())},
        missed=missed,
        false=false,
    )


def passes(
    found: Score, species: Iterable[str], *, overall_percent: int, species_percent: int
) -> bool:
    """Whether a score reaches both marks: over all, and for each of the species."""
    return found.overall.reaches(overall_percent) and all(
        found.by_species.get(code, Count()).reaches(species_percent) for code in species
    )


def _count(found: list[bool]) -> Count:
    return Count(right=sum(found), of=len(found))
