"""Withdraw a publication: its files go, for everybody and at once; that it was there, and how it
was cited, stays.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from django.db import transaction
from django.http import Http404

from accounts.access import Permission, require
from accounts.models import Membership
from surveys.language import gettext
from surveys.models import Program, Publication, Sensitivity, Withdrawal
from surveys.publishing.described import Described
from surveys.publishing.differences import forget_differences
from surveys.publishing.exceptions import AlreadyWithdrawn, ReasonToWithdrawNeeded
from surveys.publishing.places import GRID
from surveys.publishing.reading import rows_of
from surveys.publishing.stops import SharedStop, shared_stops


@transaction.atomic
def withdraw_publication(
    member: Membership, season_year: int, version: int, *, reason: str, here: str
) -> Withdrawal:
    """Delete the files of a publication for good, and keep its citation.

    `here` is its address on this site. Readers see `reason`. Raises PermissionDenied, Http404, or
    a PublishingError with a sentence for the coordinator.
    """
    require(member, Permission.PUBLISH)
    reason = reason.strip()
    # As for publishing: one at a time in a program.
    program = Program.objects.select_for_update().get(pk=member.program_id)
    publication = program.publications.filter(season_year=season_year, version=version).first()
    if publication is None:
        raise Http404(gettext("There is no such publication in this program."))
    if publication.withdrawn:
        raise AlreadyWithdrawn(publication)
    if not reason:
        raise ReasonToWithdrawNeeded
    described = Described(publication=publication, here=here)
    withdrawal = Withdrawal.objects.create(
        publication=publication,
        reason=reason,
        url=described.url,
        license=described.license,
        withdrawn_by=member.person,
    )
    publication.files.all().delete()
    forget_differences(publication)
    withdrawal.refresh_from_db()
    return withdrawal


def newest_standing(program: Program, season_year: int) -> Publication | None:
    """The newest version of a season year that was not withdrawn."""
    standing = program.publications.filter(season_year=season_year, withdrawal=None)
    return standing.order_by("-version").first()


@dataclass(frozen=True, kw_only=True)
class TooExact:
    """A publication, and on how many of its stops it says more than may be said now."""

    publication: Publication
    stops: int


def too_exact(program: Program) -> list[TooExact]:
    """Publications with places that are more exact than the program and the sensitivity of its
    species allow now, latest first."""
    now = {stop.label: stop for stop in shared_stops(program).values()}
    found = []
    for publication in program.publications.filter(withdrawal=None):
        stops = sum(
            _fineness(row) < allowed(now[str(row["stop"])])
            for row in _published_stops(publication)
            if str(row["stop"]) in now
        )
        if stops:
            found.append(TooExact(publication=publication, stops=stops))
    return found


def allowed(stop: SharedStop) -> float:
    """Side of the finest grid cell, in degrees, by which the place of a stop may be given."""
    return _SIDES[stop.row.level]


_SIDES = {
    Sensitivity.OPEN: 0.0,
    **{level: float(side) for level, side in GRID.items()},
    Sensitivity.EXTREME: float("inf"),
}


def _fineness(row: dict[str, object]) -> float:
    """Side of the grid cell by which a place was published: 0 exact, infinite where withheld."""
    if row["latitude"] is None:
        return float("inf")
    return float(row["grid_degrees"] or 0)


def _published_stops(publication: Publication) -> Iterator[dict[str, object]]:
    header, rows = rows_of(publication, "stops")
    return (dict(zip(header, row, strict=True)) for row in rows)
