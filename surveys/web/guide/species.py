"""The species of the catalog as the guide shows them: by region, with seasons and look-alikes."""

from collections.abc import Iterable
from dataclasses import dataclass

from django.db.models import Prefetch
from django.template.loader import render_to_string

from surveys.language import gettext
from surveys.models import CallingRegion, LookAlikes, Species
from surveys.protocol.words import season_in_words


@dataclass(frozen=True, kw_only=True)
class ShownGroup:
    """Look-alikes of a species: the others by name, other sounds among them."""

    name: str
    how: str
    others: list[str]


@dataclass(frozen=True, kw_only=True)
class ShownSpecies:
    """A species of a region. `mark` is blank for a silent one."""

    species: Species
    season: str
    mark: str
    is_introduced: bool
    groups: list[ShownGroup]


def species_of_region(region: CallingRegion) -> list[ShownSpecies]:
    """By name, those that give no call too."""
    rows = (
        region.species.select_related("species")
        .prefetch_related(_with_members("species__look_alikes"))
        .order_by("species__common_name")
    )
    return [
        ShownSpecies(
            species=row.species,
            season=season_in_words(row.calling_season) if row.mark else gettext("gives no call"),
            mark=row.get_mark_display(),
            is_introduced=row.is_introduced,
            groups=_shown(row.species.look_alikes.all(), {row.species_id}),
        )
        for row in rows
    ]


def page_of_region(region: CallingRegion) -> str:
    """The safe HTML that the guide shows of a region's species, without what is around it."""
    return render_to_string("guide/listed_species.html", {"listed": species_of_region(region)})


def look_alikes_of(species: Species) -> list[ShownGroup]:
    """Groups that the species belongs to; those of the members of a joint entry, without them."""
    heard_as = {species.pk, *species.members.values_list("pk", flat=True)}
    groups = LookAlikes.objects.filter(members__in=heard_as).distinct()
    return _shown(groups.prefetch_related("members"), heard_as)


def _with_members(lookup: str) -> Prefetch:
    return Prefetch(lookup, LookAlikes.objects.prefetch_related("members"))


def _shown(groups: Iterable[LookAlikes], heard_as: set[int]) -> list[ShownGroup]:
    return [
        ShownGroup(
            name=str(group),
            how=group.told_how,
            others=[
                *(one.name for one in group.members.all() if one.pk not in heard_as),
                *group.told_sounds,
            ],
        )
        for group in groups
    ]
