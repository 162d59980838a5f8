"""Writing an import: all of it in one transaction, or nothing."""

import datetime as dt
import uuid
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from itertools import islice

from django.db import connection, transaction

from accounts.access import Permission, require
from accounts.models import Membership, Person
from accounts.past_observers import add_past_observers
from surveys.importing.build import Building, BuiltVisit
from surveys.importing.problems import ImportRefusedError
from surveys.language import gettext, said, said_of
from surveys.models import (
    ImportedVisit,
    Program,
    ReviewStep,
    Source,
    SpreadsheetImport,
    Step,
    Submission,
    Visit,
    VisitState,
)
from surveys.protocol.words import first_of
from surveys.visits.bulk import FreshRows
from surveys.visits.copying import CopyingBeside

_FIRST_SUBMITTED_REVISION = 2
_MOST_ROWS_NAMED = 12
# As many are held in memory, with all their rows.
_VISITS_AT_ONCE = 300


@dataclass(frozen=True, kw_only=True)
class Committed:
    visits: int
    periods: int
    calls: int


def commit(
    member: Membership,
    make: Callable[[], Building],
    *,
    upload: SpreadsheetImport,
    now: dt.datetime,
) -> Committed:
    """Import what `make` builds, as submitted visits of the file that wait in review.

    It is built under a lock on the program, so that two imports of the same file
    cannot both find it new. Raises ImportRefusedError when there is any problem.
    """
    require(member, Permission.MANAGE)
    with transaction.atomic():
        Program.objects.select_for_update(no_key=True).get(pk=member.program_id)
        _check_references_at_once()
        building = make()
        # Visits are judged without a query, so the ones before can be written meanwhile.
        with CopyingBeside() as copying:
            writing = _Writing(member=member, upload=upload, now=now, copying=copying)
            for visits in _batches(building.visits()):
                # Once there is a problem, the rest is gone through to count them.
                if not building.problems:
                    writing.write(visits)
        if building.problems:
            raise ImportRefusedError(
                said_of(
                    "Nothing was imported: there is one problem to fix first.",
                    "Nothing was imported: there are {number} problems to fix first.",
                    len(building.problems),
                )
            )
        if not writing.visits:
            raise ImportRefusedError(gettext("Nothing was imported: the file has no new visits."))
    return Committed(visits=writing.visits, periods=writing.periods, calls=writing.calls)


def _check_references_at_once() -> None:
    """Have the database check foreign keys after each statement, beside the judging. At the end of
    the transaction, as it does otherwise, everything waits for millions of them."""
    with connection.cursor() as cursor:
        cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")


def _batches(visits: Iterator[BuiltVisit]) -> Iterator[list[BuiltVisit]]:
    while some := list(islice(visits, _VISITS_AT_ONCE)):
        yield some


@dataclass(kw_only=True)
class _Writing:
    """Writes visits as they come, and counts what was written."""

    member: Membership
    upload: SpreadsheetImport
    now: dt.datetime
    copying: CopyingBeside
    people: dict[str, Person] = field(default_factory=dict)
    visits: int = 0
    periods: int = 0
    calls: int = 0

    def write(self, built: Sequence[BuiltVisit]) -> None:
        names = {visit.new_observer for visit in built if visit.new_observer} - set(self.people)
        if names:
            self.copying.wait()
            self.people |= add_past_observers(self.member, sorted(names))
        rows = FreshRows()
        for visit in built:
            observer = visit.observer or self.people[visit.new_observer]
            file_name = self.upload.file_name
            _add(rows, self.member, visit, observer, file_name=file_name, now=self.now)
        # By ids: objects that know each other would stay in memory for a while.
        of_file = [
            ImportedVisit(visit_id=visit.pk, upload_id=self.upload.pk) for visit in rows.visits
        ]
        self.copying.copy([*rows.groups, of_file])
        self.visits += len(rows.visits)
        self.periods += len(rows.periods)
        self.calls += len(rows.calls)


def _add(
    rows: FreshRows,
    member: Membership,
    built: BuiltVisit,
    observer: Person,
    *,
    file_name: str,
    now: dt.datetime,
) -> None:
    visit = Visit(
        id=uuid.uuid4(),
        route=built.route,
        protocol_version=built.judgment.background.version,
        observer=observer,
        night=built.night,
        season_year=built.season_year,
        window=built.window,
        state=VisitState.SUBMITTED,
        source=Source.IMPORT,
        revision=_FIRST_SUBMITTED_REVISION,
        cells=dict(built.cells),
        submitted_at=now,
    )
    rows.add(visit, built.judgment)
    rows.submissions.append(
        Submission(
            visit=visit,
            revision=visit.revision,
            cells={**built.cells, **built.raw},
            submitted_by=member.person,
            submitted_at=now,
        )
    )
    rows.steps.append(
        ReviewStep(
            visit=visit,
            step=Step.SUBMITTED,
            by=member.person,
            at=now,
            revision=visit.revision,
            note=said(
                "Imported from “{file_name}”, {rows_named}.",
                file_name=file_name,
                rows_named=_rows_named(built.rows),
            ),
        )
    )


def _rows_named(rows: tuple[int, ...]) -> str:
    distinct = sorted(set(rows))
    if len(distinct) > 1 and distinct[-1] - distinct[0] == len(distinct) - 1:
        return said(
            "rows {distinct} to {distinct_2}", distinct=distinct[0], distinct_2=distinct[-1]
        )
    named = first_of(distinct[:_MOST_ROWS_NAMED], len(distinct))
    return said_of("row {rows}", "rows {rows}", len(distinct), rows=named)
