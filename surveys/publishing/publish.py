"""Publish a yearly table: freeze it with its dictionary, its method and a checksum.

A publication for season year Y holds every season year up to Y. It never changes;
a correction is a new version that says why it replaces the one before.
"""

from dataclasses import dataclass

from django.db import transaction
from django.db.models import QuerySet
from django.utils import timezone

from accounts.access import Permission, require
from accounts.models import Membership
from surveys.fitting.stamps import software
from surveys.models import Programme, ProtocolVersion, Publication, Visit
from surveys.publishing import csv
from surveys.publishing.closing import open_visits
from surveys.publishing.exceptions import (
    NothingChanged,
    NothingToPublish,
    ReasonNeeded,
    TableChanged,
)
from surveys.publishing.files import sha256_of
from surveys.publishing.method import method_text, title_of
from surveys.seasons.yearly import yearly_table


@dataclass(frozen=True, kw_only=True)
class Preview:
    """What would be published now. `previous` is the version that it would replace."""

    season_year: int
    title: str
    table_csv: str
    dictionary_csv: str
    method: str
    row_count: int
    species_count: int
    years: tuple[int, ...]
    visit_count: int
    sha256: str
    previous: Publication | None

    @property
    def version(self) -> int:
        return self.previous.version + 1 if self.previous else 1

    @property
    def differs(self) -> bool:
        """Whether the table or its dictionary differs from the version before."""
        return self.previous is None or (self.table_csv, self.dictionary_csv) != (
            self.previous.table_csv,
            self.previous.dictionary_csv,
        )


def preview(programme: Programme, season_year: int) -> Preview:
    rows = yearly_table(programme, last_year=season_year)
    visits = Visit.objects.filter(
        route__programme=programme, season_year__lte=season_year, counts_in_trends=True
    )
    years = tuple(sorted({row.season_year for row in rows}))
    title = title_of(programme, min(years, default=season_year), season_year)
    visit_count = visits.count()
    table = csv.table_csv(rows)
    return Preview(
        season_year=season_year,
        title=title,
        table_csv=table,
        dictionary_csv=csv.dictionary_csv(),
        method=method_text(
            title=title,
            software=software(),
            versions=_versions(visits),
            visit_count=visit_count,
            open_count=open_visits(programme, season_year).count(),
        ),
        row_count=len(rows),
        species_count=len({row.species for row in rows}),
        years=years,
        visit_count=visit_count,
        sha256=sha256_of(table),
        previous=programme.publications.filter(season_year=season_year).first(),
    )


@transaction.atomic
def publish(
    member: Membership, season_year: int, reason: str = "", *, seen: str | None = None
) -> Publication:
    """Freeze the table of every season year up to `season_year` as a new version.

    `seen` is the checksum of the table that the coordinator looked at. Raises
    PermissionDenied, or a PublishingError with a sentence for the coordinator.
    """
    require(member, Permission.MANAGE)
    # One publisher at a time, so that version numbers follow each other.
    programme = Programme.objects.select_for_update().get(pk=member.programme_id)
    found = preview(programme, season_year)
    reason = reason.strip()
    _check(found, reason, seen)
    return Publication.objects.create(
        programme=programme,
        season_year=season_year,
        version=found.version,
        title=found.title,
        table_csv=found.table_csv,
        dictionary_csv=found.dictionary_csv,
        method=found.method,
        software=software(),
        row_count=found.row_count,
        visit_count=found.visit_count,
        sha256=found.sha256,
        reason=reason if found.previous else "",
        published_by=member.person,
        published_at=timezone.now(),
    )


def _check(found: Preview, reason: str, seen: str | None) -> None:
    if found.season_year not in found.years:
        raise NothingToPublish(found.season_year)
    if seen is not None and seen != found.sha256:
        raise TableChanged
    if not found.differs:
        raise NothingChanged(found.previous)
    if found.previous and not reason:
        raise ReasonNeeded(found.previous)


def _versions(visits: QuerySet[Visit]) -> QuerySet[ProtocolVersion]:
    return (
        ProtocolVersion.objects.filter(pk__in=visits.order_by().values("protocol_version"))
        .select_related("protocol")
        .order_by("protocol__name", "number")
    )
