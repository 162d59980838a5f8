"""Ask for a publication: look at what it would hold, check, hand it to the worker.

A publication for season year Y holds every season year up to Y. It never changes;
a correction is a new version that says why it replaces the one before.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass

from django.db import transaction

from accounts.access import Permission, require
from accounts.models import Membership
from surveys.models import UNDER_WAY, BackgroundRun, Program, Publication, RunKind
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
from surveys.publishing.yearly import yearly_cells
from surveys.runs.enqueue import current_run, enqueue
from surveys.seasons.yearly import yearly_table
from surveys.trends.table import YearRow


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
    rows = tuple(yearly_table(program, last_year=season_year))
    years = tuple(sorted({row.season_year for row in rows}))
    file = table_bytes(tables.YEARLY, yearly_cells(rows))
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


def subject_of(season_year: int) -> str:
    return f"publication {season_year}"


def under_way(program: Program) -> list[BackgroundRun]:
    return list(program.runs.filter(kind=RunKind.PUBLISH, state__in=UNDER_WAY))


def request_publication(
    member: Membership,
    season_year: int,
    reason: str = "",
    *,
    seen: str | None = None,
    site_url: str = "",
) -> BackgroundRun:
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
        current = current_run(program.pk, subject_of(season_year))
        shown = preview(program, season_year)
        check_something_counts(program, season_year)
        if current is not None:
            raise AlreadyUnderWay(season_year)
        if seen is not None and seen != shown.sha256:
            raise TableChanged
        if shown.previous and not reason:
            raise ReasonNeeded(shown.previous)
        return enqueue(
            RunKind.PUBLISH,
            program.pk,
            subject=subject_of(season_year),
            asked_by=member.person,
            options={
                "season_year": season_year,
                "reason": reason if shown.previous else "",
                "seen": seen or "",
                "site_url": site_url,
            },
        )


def check_something_counts(program: Program, season_year: int) -> None:
    """Raises NothingToPublish for a season year without a counted visit."""
    if not counted_visits(program, season_year).filter(season_year=season_year).exists():
        raise NothingToPublish(season_year)
