"""Ask for a publication: look at what it would hold, check, hand it to the worker.

A publication for season year Y holds every season year up to Y. It never changes;
a correction is a new version that says why it replaces the one before.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass

from django.db import transaction
from django.utils import timezone
from procrastinate.contrib.django import app
from procrastinate.contrib.django.models import ProcrastinateJob

from accounts.access import (
    Permission,
    require,
)
from accounts.models import Membership
from surveys.models import (
    Program,
    Publication,
    PublishingRun,
    RunState,
)
from surveys.publishing import tables
from surveys.publishing.exceptions import (
    AlreadyUnderWay,
    NothingToPublish,
    ReasonNeeded,
    TableChanged,
)
from surveys.publishing.freeze import counted_visits
from surveys.publishing.frozen import table_bytes
from surveys.publishing.method import title_of
from surveys.seasons.yearly import yearly_table
from surveys.trends.table import (
    YearRow,
    row_values,
)

# The task lives in `tasks`, which knows how to build; here it is known by name.
TASK = "publishing.publish"
QUEUE = "publishing"
UNDER_WAY = (RunState.WAITING, RunState.WORKING)


@dataclass(frozen=True, kw_only=True)
class Preview:
    """The yearly table as it would be published now. `sha256` is that of its file, `previous`
    the version that would be replaced."""

    season_year: int
    title: str
    rows: tuple[YearRow, ...]
    years: tuple[int, ...]
    visit_count: int
    sha256: str
    previous: Publication | None

    @property
    def version(self) -> int:
        return self.previous.version + 1 if self.previous else 1

    @property
    def species_count(self) -> int:
        return len({row.species for row in self.rows})

    @property
    def differs(self) -> bool:
        """Whether the yearly table differs from the version before; other tables may."""
        if self.previous is None:
            return True
        before = self.previous.files.filter(kind=tables.YEARLY.file).first()
        return before is None or before.sha256 != self.sha256


def preview(program: Program, season_year: int) -> Preview:
    found = yearly_table(program, last_year=season_year)
    rows = tuple(sorted(found, key=lambda row: (row.species, row.season_year)))
    years = tuple(sorted({row.season_year for row in rows}))
    values = map(row_values, rows)
    file = table_bytes(tables.YEARLY, ([row[n] for n in tables.YEARLY.header] for row in values))
    return Preview(
        season_year=season_year,
        title=title_of(program, min(years, default=season_year), season_year),
        rows=rows,
        years=years,
        visit_count=counted_visits(program, season_year).count(),
        sha256=hashlib.sha256(file).hexdigest(),
        previous=latest(program, season_year),
    )


def latest(program: Program, season_year: int) -> Publication | None:
    return program.publications.filter(season_year=season_year).first()


def under_way(program: Program) -> list[PublishingRun]:
    return list(program.publishing_runs.filter(state__in=UNDER_WAY))


def ask_to_publish(
    member: Membership,
    season_year: int,
    reason: str = "",
    *,
    seen: str | None = None,
    site_url: str = "",
) -> PublishingRun:
    """Have the worker freeze every season year up to `season_year` as a new version.

    `seen` is the checksum of the yearly table that the coordinator looked at; `site_url` the
    address under which readers reach the program. Raises PermissionDenied, or a
    PublishingError with a sentence for the coordinator. What only shows while the tables are
    made is said by the run.
    """
    require(member, Permission.PUBLISH)
    reason = reason.strip()
    with transaction.atomic():
        # One at a time, so that version numbers follow each other.
        program = Program.objects.select_for_update().get(pk=member.program_id)
        _give_up_lost_runs(program)
        found = preview(program, season_year)
        if not counted_visits(program, season_year).filter(season_year=season_year).exists():
            raise NothingToPublish(season_year)
        if program.publishing_runs.filter(season_year=season_year, state__in=UNDER_WAY).exists():
            raise AlreadyUnderWay(season_year)
        if seen is not None and seen != found.sha256:
            raise TableChanged
        if found.previous and not reason:
            raise ReasonNeeded(found.previous)
        run = PublishingRun.objects.create(
            program=program,
            season_year=season_year,
            reason=reason if found.previous else "",
            seen=seen or "",
            asked_by=member.person,
        )
        app.configure_task(TASK, queue=QUEUE, lock=f"publishing of program {program.pk}").defer(
            run_id=run.pk, site_url=site_url
        )
    return run


def _give_up_lost_runs(program: Program) -> None:
    """A run whose job is gone would keep its season year from ever being published."""
    for run in under_way(program):
        job = ProcrastinateJob.objects.filter(
            task_name=TASK, args__run_id=run.pk, status__in=["todo", "doing"]
        )
        if not job.exists():
            fail(run, "The work was lost before it was finished. Nothing was published.")


def fail(run: PublishingRun, problem: str, state: RunState = RunState.FAILED) -> None:
    PublishingRun.objects.filter(pk=run.pk, state__in=UNDER_WAY).update(
        state=state, problem=problem, step="", finished_at=timezone.now()
    )
