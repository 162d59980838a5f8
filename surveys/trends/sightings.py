"""Color forms and life stages of animals that were seen: the share of each, by region and year."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np

from surveys.trends.estimates import Estimate
from surveys.trends.numerics.intervals import wilson_clustered

COLOR_FORM, LIFE_STAGE = "color_form", "life_stage"
TRAITS = (COLOR_FORM, LIFE_STAGE)


@dataclass(frozen=True, kw_only=True)
class Seen:
    """Animals of one species on one visit; ``color_form`` is blank where none was noted."""

    species: str
    region: str
    season_year: int
    route: str
    life_stage: str
    color_form: str
    count: int | None


@dataclass(frozen=True, kw_only=True)
class TraitShare:
    """How many have a ``value`` of a trait, and the share of those of which it is known. Blank
    ``region``: all regions together. Color forms count animals, life stages count sightings."""

    species: str
    region: str
    season_year: int
    trait: str
    value: str
    number: int
    of: int
    routes: int
    share: Estimate


def trait_shares(seen: Iterable[Seen]) -> Iterator[TraitShare]:
    """The shares of every species, region, season year and trait, in this order.

    A sighting without a count is one animal. Forms that differ in capital letters and spaces only
    are one, written as most of them are. Intervals treat the animals of a route as alike.

    Examples
    --------
    >>> frogs = [
    ...     Seen(species="Hyla", region="", season_year=2024, route=route, life_stage="adult",
    ...          color_form=form, count=count)
    ...     for route, form, count in [("A", "green", 3), ("B", "Green", None), ("B", "brown", 2)]
    ... ]
    >>> [(one.value, one.number, one.of) for one in trait_shares(frogs) if one.trait == COLOR_FORM]
    [('brown', 2, 6), ('Green', 4, 6)]
    """
    groups: dict[tuple[str, str, int, str], list[tuple[str, str, int]]] = {}
    spellings: dict[str, Counter[str]] = {}
    for one in seen:
        form = " ".join(one.color_form.split())
        spellings.setdefault(form.casefold(), Counter())[form] += 1
        animals = 1 if one.count is None else one.count
        for region in {"", one.region}:
            key = (one.species, region, one.season_year)
            if form and animals:
                groups.setdefault((*key, COLOR_FORM), []).append(
                    (form.casefold(), one.route, animals)
                )
            groups.setdefault((*key, LIFE_STAGE), []).append((one.life_stage, one.route, 1))
    for (species, region, year, trait), rows in sorted(groups.items()):
        for value in sorted({value for value, _, _ in rows}):
            yield TraitShare(
                species=species,
                region=region,
                season_year=year,
                trait=trait,
                value=_usual(spellings[value]) if trait == COLOR_FORM else value,
                number=sum(count for name, _, count in rows if name == value),
                of=sum(count for _, _, count in rows),
                routes=len({route for _, route, _ in rows}),
                share=_share(rows, value),
            )


def _share(rows: list[tuple[str, str, int]], value: str) -> Estimate:
    counts = np.array([count for _, _, count in rows])
    has = np.array([name == value for name, _, _ in rows])
    routes = np.array([route for _, route, _ in rows])
    return wilson_clustered(counts * has, counts, routes, name=value)


def _usual(spellings: Counter[str]) -> str:
    return min(spellings, key=lambda spelling: (-spellings[spelling], spelling))
