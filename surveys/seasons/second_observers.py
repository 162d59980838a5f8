"""Two observers on the same route and night: how well they heard the same."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from uuid import UUID

from surveys.models import Program, Species
from surveys.seasons.query import fetch
from surveys.sound.hearing_errors import Written
from surveys.trends import agreement_table, cohen_kappa
from surveys.trends.estimates import Estimate

# Two observers on one route and night. Each pair stands here twice, once from each side.
_PAIRS = """
SELECT mine.observer_id, mine.night, mine.id AS visit_id, other.id AS other_id
FROM counted_visit mine
JOIN counted_visit other ON other.program_id = mine.program_id AND other.route_id = mine.route_id
  AND other.night = mine.night AND other.observer_id <> mine.observer_id
WHERE mine.program_id = %(program)s
  AND (%(year)s::int IS NULL OR mine.season_year = %(year)s)
  AND (%(person)s::bigint IS NULL OR mine.observer_id = %(person)s)
"""

# Silences are zeros here, and what is missing is left out.
_HEARD = """
SELECT visit_id, stop_id, species_id, call_index
FROM counted_call
WHERE program_id = %(program)s AND visit_id = ANY(%(visits)s) AND call_index IS NOT NULL
"""


# By visit: the call index of a stop and species.
Heard = Mapping[UUID, Mapping[tuple[int, int], int]]


@dataclass(frozen=True, kw_only=True)
class Agreement:
    """Of two observers at the same stops on the same nights: `compared` are call indexes that both
    gave, silence among them, `same` those that are equal."""

    nights: int
    compared: int
    same: int
    kappa: Estimate


@dataclass(frozen=True, kw_only=True)
class _Pair:
    mine: UUID
    other: UUID
    night: dt.date


def agreements(
    program: Program, season_year: int | None, person: int | None
) -> dict[int, Agreement]:
    """By person, of all observers or one."""
    pairs = _pairs(program, season_year, person)
    heard = _heard(program, pairs)
    return {
        observer: agreement
        for observer, of_one in pairs.items()
        if (agreement := _agreement(of_one, heard)) is not None
    }


def heard_by_second_observers(
    program: Program, person: int, season_year: int | None = None
) -> list[Written]:
    """By code of species, the calls that the observer or the second one wrote down at the same stop
    of the same night. What the second one did not write down says nothing of the first: one of the
    two has missed it."""
    pairs = _pairs(program, season_year, person)
    heard = _heard(program, pairs)
    calls = [
        (species, mine, other)
        for pair in pairs.get(person, [])
        for species, mine, other in _both(heard, pair)
        if mine or other
    ]
    codes = dict(
        Species.objects.filter(pk__in={species for species, *_ in calls}).values_list("pk", "code")
    )
    return [
        Written(
            species=codes[species],
            there=True if other else None,
            heard_index=other or None,
            index=mine or None,
        )
        for species, mine, other in calls
    ]


def _pairs(program: Program, season_year: int | None, person: int | None) -> dict[int, list[_Pair]]:
    pairs: dict[int, list[_Pair]] = defaultdict(list)
    for row in fetch(_PAIRS, {"program": program.pk, "year": season_year, "person": person}):
        pair = _Pair(mine=row.visit_id, other=row.other_id, night=row.night)
        pairs[row.observer_id].append(pair)
    return pairs


def _heard(program: Program, pairs: Mapping[int, Sequence[_Pair]]) -> Heard:
    wanted = {pk for of_one in pairs.values() for pair in of_one for pk in (pair.mine, pair.other)}
    heard: dict[UUID, dict[tuple[int, int], int]] = defaultdict(dict)
    if wanted:
        for row in fetch(_HEARD, {"program": program.pk, "visits": sorted(wanted)}):
            heard[row.visit_id][row.stop_id, row.species_id] = row.call_index
    return heard


def _agreement(pairs: Sequence[_Pair], heard: Heard) -> Agreement | None:
    compared = [(mine, other) for pair in pairs for _, mine, other in _both(heard, pair)]
    if not compared:
        return None
    table = agreement_table(
        [mine for mine, _ in compared], [other for _, other in compared], classes=4
    )
    return Agreement(
        nights=len({pair.night for pair in pairs}),
        compared=len(compared),
        same=sum(mine == other for mine, other in compared),
        kappa=cohen_kappa(table, weights="linear"),
    )


def _both(heard: Heard, pair: _Pair) -> Iterator[tuple[int, int, int]]:
    """The species, and the index of either where both have one."""
    of_other = heard.get(pair.other, {})
    for (stop, species), index in heard.get(pair.mine, {}).items():
        if (stop, species) in of_other:
            yield species, index, of_other[stop, species]
