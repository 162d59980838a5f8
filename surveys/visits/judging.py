"""What is to be said of a sheet: problems of reading first, then the rules."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from django.utils import timezone

from surveys.models import Visit
from surveys.protocol.rules.judge import judge
from surveys.protocol.values import Finding, Severity, Where
from surveys.visits.cells import cell_of
from surveys.visits.loading import Background, background, case_of
from surveys.visits.reading_rules import problem
from surveys.visits.sheet import SheetReading, night_typed, read_sheet


@dataclass(frozen=True, kw_only=True)
class Judgement:
    """A sheet that was read and judged, with what it was judged against."""

    reading: SheetReading
    findings: tuple[Finding, ...]
    background: Background

    @property
    def refusals(self) -> tuple[Finding, ...]:
        return tuple(f for f in self.findings if f.severity is Severity.REFUSE)


def judge_sheet(visit: Visit, now: dt.datetime | None = None) -> tuple[Finding, ...]:
    """Every finding on the visit's cells as they stand."""
    return read_and_judge(visit, now).findings


def read_and_judge(visit: Visit, now: dt.datetime | None = None) -> Judgement:
    ground = background(visit.route, visit.night, visit.protocol_version)
    reading = read_sheet(
        visit.cells,
        route=ground.route,
        night=visit.night,
        catalogue=ground.catalogue,
        photo_rows=frozenset(visit.photos.values_list("row", flat=True)),
    )
    ruled = judge(case_of(visit, reading, ground, now or timezone.now()))
    first = (*_night_problem(visit), *reading.findings)
    # A cell that cannot be read is not also called empty.
    unread = {cell_of(f.where) for f in first if f.severity is Severity.REFUSE} - {""}
    findings = (*first, *(f for f in ruled if cell_of(f.where) not in unread))
    return Judgement(reading=reading, findings=findings, background=ground)


def _night_problem(visit: Visit) -> tuple[Finding, ...]:
    typed = night_typed(visit.cells)
    if typed is None or typed == visit.night:
        return ()
    return (
        problem(
            "night-without-protocol",
            Where(field="night"),
            f"No version of the route's protocol was in force on the night of {typed}.",
            "Check the date. If it is right, a coordinator can enter the protocol of that time.",
        ),
    )
