"""What is to be said of a sheet: problems of reading first, then the rules."""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection, Mapping
from dataclasses import dataclass

from django.utils import timezone

from surveys.models import Visit
from surveys.protocol.rules.judge import judge
from surveys.protocol.values import (
    Finding,
    Severity,
    Surroundings,
    Where,
)
from surveys.protocol.words import day
from surveys.visits.loading import (
    Background,
    background,
    case_in,
    surroundings,
)
from surveys.visits.sheet.cells import cell_of
from surveys.visits.sheet.reader import (
    SheetReading,
    night_typed,
    read_sheet,
)
from surveys.visits.sheet.reading_rules import problem
from surveys.visits.sheet.texts import is_missing


@dataclass(frozen=True, kw_only=True)
class Judgment:
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


def read_and_judge(visit: Visit, now: dt.datetime | None = None) -> Judgment:
    return judge_cells(
        visit.cells,
        night=visit.night,
        ground=background(visit.route, visit.night, visit.protocol_version),
        around=surroundings(visit, now or timezone.now()),
        photo_rows=frozenset(visit.photos.values_list("row", flat=True)),
    )


def judge_cells(
    cells: Mapping[str, str],
    *,
    night: dt.date,
    ground: Background,
    around: Surroundings,
    photo_rows: Collection[int] = (),
) -> Judgment:
    """Read and judge a sheet against surroundings that are at hand: no query is made."""
    reading = read_sheet(
        cells,
        route=ground.route,
        night=night,
        catalog=ground.catalog,
        photo_rows=photo_rows,
    )
    ruled = judge(case_in(reading, ground, around))
    first = (*_night_problem(cells, night), *reading.findings)
    # A cell that cannot be read is not also called empty.
    unread = {cell_of(f.where) for f in first if f.severity is Severity.REFUSE} - {""}
    findings = (*first, *(f for f in ruled if cell_of(f.where) not in unread))
    return Judgment(reading=reading, findings=findings, background=ground)


def _night_problem(cells: Mapping[str, str], night: dt.date) -> tuple[Finding, ...]:
    where = Where(field="night")
    if is_missing(cells.get("night", "")):
        finding = problem(
            "night-missing",
            where,
            f"The sheet does not say its night. It was {day(night)}.",
            "Write the date of the evening, such as 2024-04-15.",
        )
        return (finding,)
    typed = night_typed(cells)
    if typed is None or typed == night:
        return ()
    finding = problem(
        "night-without-protocol",
        where,
        f"No version of the route's protocol was in force on the night of {day(typed)}.",
        "Check the date. If it is right, a coordinator can enter the protocol of that time.",
    )
    return (finding,)
