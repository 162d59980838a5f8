"""A program whose observers wrote a joint entry where they could not tell two treefrogs apart."""

import datetime as dt
from dataclasses import dataclass

import numpy as np

from accounts.models import Membership, Role
from surveys.models import ChecklistEntry, Program, Species
from surveys.visits.verbs import accept
from tests.support.builders import (
    make_joint_entry,
    make_member,
    make_program,
    make_route,
    make_species,
    make_version,
)
from tests.support.sheets import make_submitted, plain_cells

GRAY, COPE = "Dryophytes versicolor", "Dryophytes chrysoscelis"
EITHER = "Dryophytes versicolor / chrysoscelis"
YEARS = (2022, 2023, 2024)
ROUTES, STOPS = 4, 5
# Where a call was written down: season year, number of the route, number of the visit, stop.
Call = tuple[int, int, int, int]


@dataclass(frozen=True, kw_only=True)
class TreefrogProgram:
    """`heard` are the calls of gray treefrogs, by what was written down; `joint` those of them
    that were written down as the joint entry. Nobody ever wrote down the other species."""

    coordinator: Membership
    gray: Species
    cope: Species
    either: Species
    heard: frozenset[Call]
    joint: frozenset[Call]

    @property
    def program(self) -> Program:
        return self.coordinator.program

    def stops_heard(self, year: int) -> int:
        """At how many stops gray treefrogs called, whatever was written down."""
        return len({(call[1], call[3]) for call in self.heard if call[0] == year})


def treefrog_program(*, unnamed: float, unnamed_year: int = 2023) -> TreefrogProgram:
    """Three season years of two visits to four routes of five stops, handed in as sheets and
    accepted. In one year, this share of the records is moved to the joint entry."""
    dice = np.random.default_rng(20)
    heard, joint = _drawn(dice, unnamed, unnamed_year)
    program = make_program()
    version = make_version(program)
    gray, cope = make_species(GRAY), make_species(COPE)
    either = make_joint_entry(EITHER, gray, cope)
    for order, species in enumerate((gray, cope, either)):
        ChecklistEntry.objects.create(program=program, species=species, order=order)
    observer = make_member(program, Role.OBSERVER)
    coordinator = make_member(program, Role.COORDINATOR)
    for number in range(ROUTES):
        route = make_route(program, version=version, stops=STOPS)
        for year in YEARS:
            for visit in range(2):
                night = dt.date(year, 4, 15 + 14 * visit)
                calls = {
                    stop: {either if (year, number, visit, stop) in joint else gray: 2}
                    for stop in range(1, STOPS + 1)
                    if (year, number, visit, stop) in heard
                }
                submitted = make_submitted(observer, route, plain_cells(STOPS, calls), night=night)
                accept(coordinator, submitted.pk, revision=submitted.revision)
    return TreefrogProgram(
        coordinator=coordinator,
        gray=gray,
        cope=cope,
        either=either,
        heard=heard,
        joint=joint,
    )


def _drawn(
    dice: np.random.Generator, unnamed: float, unnamed_year: int
) -> tuple[frozenset[Call], frozenset[Call]]:
    there = dice.random((ROUTES, STOPS)) < 0.6
    calls = [
        (year, route, visit, stop + 1)
        for year in YEARS
        for route in range(ROUTES)
        for visit in range(2)
        for stop in range(STOPS)
        if there[route, stop] and dice.random() < 0.7
    ]
    of_year = [call for call in calls if call[0] == unnamed_year]
    moved = dice.permutation(len(of_year))[: round(unnamed * len(of_year))]
    return frozenset(calls), frozenset(of_year[place] for place in moved)
