"""The whole checklist in one table: seasons and sensitivity of what is listed, and what of the
program's region may be added, each with its starting season there."""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace

from django.db import transaction

from accounts.access import Permission, require
from accounts.edit_conflicts import Facts, Seen, check_seen
from accounts.models import Membership
from surveys.models import ChecklistEntry, Program, Species
from surveys.programs.checklist import Listing, add_species, change_entry, entries_of, entry_facts
from surveys.programs.regional import RegionalSeason, check_offered, regional_list
from surveys.protocol.values import MonthDay


@dataclass(frozen=True, kw_only=True)
class TableRow:
    """A species on the list (`entry`), or one of the region that may be added (`offered`)."""

    species: Species
    listing: Listing
    entry: ChecklistEntry | None = None
    offered: RegionalSeason | None = None


@dataclass(frozen=True, kw_only=True)
class TypedListing:
    """What is typed for one species."""

    season: tuple[MonthDay, MonthDay] | None
    sensitivity: int


def table_rows(program: Program, today: dt.date) -> list[TableRow]:
    """What is listed, in the order of the sheet; then the others of the region, by name."""
    listed = [
        TableRow(species=entry.species, listing=_listing(entry), entry=entry)
        for entry in entries_of(program)
        if not entry.listed_until or entry.listed_until >= today
    ]
    others = [
        TableRow(species=one.species, listing=Listing(season=one.season), offered=one)
        for one in regional_list(program)
    ]
    return [*listed, *others]


def table_facts(rows: Collection[TableRow]) -> Facts:
    """What the form shows of the listed species."""
    return {
        row.species.name: "; ".join(value for value in entry_facts(row.entry).values() if value)
        for row in rows
        if row.entry
    }


@transaction.atomic
def set_checklist(
    member: Membership,
    typed: Mapping[str, TypedListing],
    *,
    added: Collection[str],
    listed_from: dt.date | None,
    today: dt.date,
    seen: Seen | None = None,
) -> tuple[int, int]:
    """Change what is listed and add what is chosen, by the codes of species: all or nothing.

    Returns how many were changed and added. Raises ValidationError, EditConflict.
    """
    require(member, Permission.MANAGE)
    program = Program.objects.select_for_update(of=("self",)).get(pk=member.program_id)
    rows = table_rows(program, today)
    history = ChecklistEntry.pgh_event_model.objects.filter(program=program)
    check_seen(member, seen, table_facts(rows), [history])
    check_offered(added, (row.offered for row in rows if row.offered))
    changed = [
        change_entry(member, row.entry.pk, wanted)
        for row in rows
        if row.entry and (wanted := _wanted(row, typed)) != row.listing
    ]
    new = [
        add_species(member, row.species.code, replace(_wanted(row, typed), listed_from=listed_from))
        for row in rows
        if row.offered and row.species.code in added
    ]
    return len(changed), len(new)


def _listing(entry: ChecklistEntry) -> Listing:
    return Listing(
        season=entry.calling_season,
        sensitivity=entry.sensitivity,
        listed_from=entry.listed_from,
        listed_until=entry.listed_until,
    )


def _wanted(row: TableRow, typed: Mapping[str, TypedListing]) -> Listing:
    cells = typed.get(row.species.code)
    if cells is None:
        return row.listing
    return replace(row.listing, season=cells.season, sensitivity=cells.sensitivity)
