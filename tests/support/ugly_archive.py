"""An archive that is made up: what was heard on each night, and what a publication must say of it.

`ugly_files` writes it down as people do. Nothing here knows how a file is read.
"""

import datetime as dt
from collections import defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from random import Random

from tests.support.places import Point, points_of

FILES, FIRST_YEAR = 8, 2004
# Scientific name, common name, and how often it is heard at a stop.
SPECIES = (
    ("Pseudacris crucifer", "Spring peeper", 0.5),
    ("Lithobates sylvaticus", "Wood frog", 0.3),
    ("Lithobates clamitans", "Green frog", 0.2),
    ("Anaxyrus americanus", "American toad", 0.3),
    ("Lithobates pipiens", "Northern leopard frog", 0.2),
    ("Pseudacris maculata", "Boreal chorus frog", 0.1),
)
COMMON = {name: common for name, common, _ in SPECIES}
OBSERVERS = ("Rowan Alder", "Renée Aspen", "Tam Birch", "Ida Sedge", "Jo Marsh", "Wren Teasel")
# Files in which a stop was now and then not visited, and a species not noted; the one whose people
# never listened for this species.
_WITH_GAPS, _WITHOUT, NOT_LISTENED_FOR = (1, 4), 6, "Lithobates clamitans"
# Two files write the month first, with no day that tells.
_EARLY_IN_THE_MONTH = (7, 8)


@dataclass(frozen=True, kw_only=True)
class Night:
    """One visit. `heard` has the stops that were listened to, each with an index a species; None
    where nobody noted it."""

    route: int
    date: dt.date
    observer: str
    fahrenheit: int
    beaufort: int
    minutes: int
    heard: Mapping[int, Mapping[str, int | None]]

    @property
    def code(self) -> str:
        return f"R{self.route:02}"


@dataclass(kw_only=True)
class Told:
    """What a publication says of a species in a year. `at_index` counts listening periods at call
    index 0 to 3, of which the first are zeros."""

    routes: set[int] = field(default_factory=set)
    stops: set[tuple[int, int]] = field(default_factory=set)
    visits: set[tuple[int, dt.date]] = field(default_factory=set)
    detected: set[tuple[int, int]] = field(default_factory=set)
    at_index: list[int] = field(default_factory=lambda: [0, 0, 0, 0])

    @property
    def numbers(self) -> tuple[int, ...]:
        """Routes, stops, visits, listening periods, stops where it was heard, as the yearly table
        has them, then the periods at each index."""
        sets = (self.routes, self.stops, self.visits)
        return (*map(len, sets), sum(self.at_index), len(self.detected), *self.at_index)


@dataclass(frozen=True, kw_only=True)
class Archive:
    routes: int
    stops: int
    nights: int
    years_a_file: int
    species: int
    by_file: Mapping[int, tuple[Night, ...]]

    @property
    def names(self) -> tuple[str, ...]:
        """The checklist, in scientific names."""
        return tuple(name for name, _, _ in SPECIES[: self.species])

    @property
    def common_names(self) -> list[str]:
        return [COMMON[name] for name in self.names]

    @property
    def last_year(self) -> int:
        return FIRST_YEAR + FILES * self.years_a_file - 1

    @property
    def places(self) -> list[Point]:
        return points_of(self.routes, self.stops)

    @property
    def visits(self) -> tuple[Night, ...]:
        return tuple(night for nights in self.by_file.values() for night in nights)

    def twice(self) -> tuple[Night, ...]:
        """The last year of the seventh file, which the eighth has again."""
        last = max(night.date.year for night in self.by_file[7])
        return tuple(night for night in self.by_file[7] if night.date.year == last)

    def told(self) -> dict[tuple[str, int], tuple[int, ...]]:
        """The numbers of `Told` by species and year."""
        told: dict[tuple[str, int], Told] = defaultdict(Told)
        for night in self.visits:
            for stop, calls in night.heard.items():
                for species, index in calls.items():
                    if index is not None:
                        _add(told[species, night.date.year], night, stop, index)
        return {key: one.numbers for key, one in told.items()}


def _add(told: Told, night: Night, stop: int, index: int) -> None:
    told.routes.add(night.route)
    told.visits.add((night.route, night.date))
    told.stops.add((night.route, stop))
    told.at_index[index] += 1
    if index:
        told.detected.add((night.route, stop))


def made(
    *, routes: int, stops: int, nights: int, years_a_file: int, species: int, seed: int = 14
) -> Archive:
    """The same for the same seed. `nights` are those of a route in a year, at most 3."""
    dice = Random(seed)
    archive = Archive(
        routes=routes,
        stops=stops,
        nights=nights,
        years_a_file=years_a_file,
        species=species,
        by_file=(by_file := {}),
    )
    for number in range(1, FILES + 1):
        begin = FIRST_YEAR + (number - 1) * years_a_file
        by_file[number] = tuple(
            _night(dice, archive, number, route, year, month)
            for year in range(begin, begin + years_a_file)
            for route in range(1, routes + 1)
            for month in range(4, 4 + nights)
        )
    return archive


def _night(dice: Random, archive: Archive, file: int, route: int, year: int, month: int) -> Night:
    day = 2 + (5 * route + year) % 11 + (0 if file in _EARLY_IN_THE_MONTH else 14)
    return Night(
        route=route,
        date=dt.date(year, month, day),
        observer=OBSERVERS[(route - 1) % len(OBSERVERS)],
        fahrenheit=dice.randint(45, 65),
        beaufort=dice.choice((0, 1, 1, 2, 2, 3, 5)),
        minutes=dice.choice((5, 5, 5, 3)),
        heard=dict(_stops(dice, archive, file)),
    )


def _stops(
    dice: Random, archive: Archive, file: int
) -> Iterator[tuple[int, dict[str, int | None]]]:
    for stop in range(1, archive.stops + 1):
        if file in _WITH_GAPS and stop > 1 and dice.random() < 0.03:
            continue
        calls: dict[str, int | None] = {
            name: dice.choice((1, 1, 2, 3)) if dice.random() < often else 0
            for name, _, often in SPECIES[: archive.species]
        }
        if file in _WITH_GAPS and dice.random() < 0.05:
            calls[dice.choice(archive.names)] = None
        if file == _WITHOUT:
            calls[NOT_LISTENED_FOR] = None
        yield stop, calls
