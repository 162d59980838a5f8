"""Findings on a sheet: first cells that cannot be read, then the rules of the protocol."""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection, Mapping
from dataclasses import dataclass

from django.utils import timezone

from surveys.models import Source, Visit
from surveys.protocol import params
from surveys.protocol.archives import as_archive
from surveys.protocol.rules.judge import judge
from surveys.protocol.values import (
    Finding,
    PeriodStatus,
    Severity,
    Surroundings,
    Where,
)
from surveys.visits.loading import (
    Background,
    build_case,
    load_background,
    load_surroundings,
)
from surveys.visits.media.photos import MAX_ROW
from surveys.visits.sheet.cells import cell_of
from surveys.visits.sheet.part import StateCodes
from surveys.visits.sheet.reader import (
    SheetReading,
    read_sheet,
    typed_night,
)
from surveys.visits.sheet.reading_rules import problem
from surveys.visits.sheet.texts import is_missing
from surveys.visits.telling import ToldFinding, tell_findings


@dataclass(frozen=True, kw_only=True)
class Judgment:
    """A sheet that was read and checked by the rules, with what it was checked against."""

    reading: SheetReading
    findings: tuple[Finding, ...]
    background: Background

    @property
    def refusals(self) -> tuple[Finding, ...]:
        return tuple(f for f in self.findings if f.severity is Severity.REFUSE)


def judge_sheet(visit: Visit, now: dt.datetime | None = None) -> tuple[ToldFinding, ...]:
    """All findings on the visit's current cells, in words."""
    return tell_findings(read_and_judge(visit, now).findings, visit.route.program)


def read_and_judge(visit: Visit, now: dt.datetime | None = None) -> Judgment:
    return judge_cells(
        visit.cells,
        night=visit.night,
        background=load_background(visit),
        surroundings=load_surroundings(visit, now or timezone.now()),
        photo_rows=frozenset(visit.photos.filter(row__lte=MAX_ROW).values_list("row", flat=True)),
        is_archive=visit.source == Source.IMPORT,
    )


def judge_cells(
    cells: Mapping[str, str],
    *,
    night: dt.date,
    background: Background,
    surroundings: Surroundings,
    photo_rows: Collection[int] = (),
    is_archive: bool = False,
) -> Judgment:
    """Read a sheet and check it by the rules, without any query. `is_archive`: it came from a
    file (`protocol/archives.py`)."""
    reading = read_sheet(
        cells,
        route=background.route,
        night=night,
        catalog=background.catalog,
        photo_rows=photo_rows,
        codes=StateCodes(sky=background.protocol.sky_codes, noise=background.protocol.noise_codes),
        companions=background.companions,
    )
    rule_findings = judge(build_case(reading, background, surroundings))
    reading_findings = (*_night_problem(cells, night), *reading.findings)
    # A cell that cannot be read is not also reported as empty.
    unreadable = {cell_of(f.where) for f in reading_findings if f.severity is Severity.REFUSE} - {
        ""
    }
    findings = (
        *reading_findings,
        *(f for f in rule_findings if cell_of(f.where) not in unreadable),
    )
    if is_archive:
        periods = reading.visit.periods
        listened = sum(period.status is PeriodStatus.LISTENED for period in periods)
        findings = as_archive(findings, listened=listened)
    return Judgment(reading=reading, findings=findings, background=background)


def _night_problem(cells: Mapping[str, str], night: dt.date) -> tuple[Finding, ...]:
    where = Where(field="night")
    if is_missing(cells.get("night", "")):
        return (problem("night-missing", where, "", {"night": params.date(night)}),)
    night_on_sheet = typed_night(cells)
    if night_on_sheet is None or night_on_sheet == night:
        return ()
    found = {"night": params.date(night_on_sheet)}
    return (problem("night-without-protocol", where, "", found),)
