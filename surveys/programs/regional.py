"""What the catalog knows of the program's region, as the beginning of its checklist.

The catalog's seasons are starting values. A program takes them over entry by entry or for its
whole region at once, and edits them from then on; a later load of the catalog changes no checklist.
"""

import datetime as dt
from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass

from django.core.exceptions import ValidationError
from django.db import transaction

from accounts.access import Permission, require
from accounts.models import Membership
from surveys.guide.cautions import cautions
from surveys.language import gettext, said
from surveys.models import (
    CallingRegion,
    ChecklistEntry,
    Program,
    SeasonMark,
    Species,
    SpeciesInRegion,
)
from surveys.programs.checklist import Listing, add_species
from surveys.protocol.seasons import shortest_span
from surveys.protocol.values import MonthDay


@dataclass(frozen=True, kw_only=True)
class RegionalSeason:
    """When a species calls in a region. `season` is None: at any time. `mark` says how sure
    that is. Of a joint entry, `members` are the species that live in the region."""

    species: Species
    region: CallingRegion
    season: tuple[MonthDay, MonthDay] | None
    mark: SeasonMark
    is_introduced: bool = False
    members: tuple[Species, ...] = ()


def regional_season(program: Program, species: Species) -> RegionalSeason | None:
    """What the catalog says of the species in the program's region; None where it says nothing."""
    region = program.calling_region
    if region is None:
        return None
    calling = region.species.exclude(mark="").select_related("species", "region")
    if species.is_complex:
        members = calling.filter(species__in=species.members.all()).order_by("pk")
        return _of_joint_entry(species, [_regional(row) for row in members])
    row = calling.filter(species=species).first()
    return _regional(row) if row else None


def _of_joint_entry(species: Species, members: list[RegionalSeason]) -> RegionalSeason | None:
    """The season that holds those of its members in the region, as sure as the least sure one."""
    if not members:
        return None
    seasons = [member.season for member in members if member.season]
    marks = list(SeasonMark)
    return RegionalSeason(
        species=species,
        region=members[0].region,
        season=shortest_span(seasons) if len(seasons) == len(members) else None,
        mark=max((member.mark for member in members), key=marks.index),
        is_introduced=all(member.is_introduced for member in members),
        members=tuple(member.species for member in members),
    )


def regional_list(program: Program) -> list[RegionalSeason]:
    """Species of the program's region that call and are not on its checklist, by name."""
    if program.calling_region is None:
        return []
    rows = (
        SpeciesInRegion.objects.filter(region=program.calling_region, species__is_silent=False)
        .exclude(species__checklist_entries__program=program)
        .select_related("species", "region")
        .order_by("species__common_name")
    )
    return [_regional(row) for row in rows]


def cautions_of(program: Program | None) -> Iterator[str]:
    """The cautions in short, as they are for the program's region."""
    region = program.calling_region if program else None
    return cautions(region.code if region else None)


def _regional(row: SpeciesInRegion) -> RegionalSeason:
    return RegionalSeason(
        species=row.species,
        region=row.region,
        season=row.calling_season,
        mark=SeasonMark(row.mark),
        is_introduced=row.is_introduced,
    )


@transaction.atomic
def add_regional_species(
    member: Membership, codes: Collection[str], *, listed_from: dt.date | None
) -> list[ChecklistEntry]:
    """Put species of the program's region on the checklist, each with its season there.

    Raises ValidationError; then none is added.
    """
    require(member, Permission.MANAGE)
    program = Program.objects.select_for_update(of=("self",)).get(pk=member.program_id)
    offered = {one.species.code: one for one in regional_list(program)}
    check_offered(codes, offered.values())
    if not codes:
        raise ValidationError(
            gettext("No species is chosen. Check the ones that observers listen for.")
        )
    return [
        add_species(member, code, Listing(season=one.season, listed_from=listed_from))
        for code, one in offered.items()
        if code in codes
    ]


def check_offered(codes: Collection[str], offered: Iterable[RegionalSeason]) -> None:
    """Raise ValidationError for species that cannot be added from the list of the region."""
    unknown = sorted(set(codes) - {one.species.code for one in offered})
    if unknown:
        raise ValidationError(
            said(
                "These species are on the checklist already, or are not listed for your region: "
                "{species}. Open the list again and choose from it.",
                species=", ".join(unknown),
            )
        )
