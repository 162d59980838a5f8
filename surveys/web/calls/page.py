"""What the pages of calls show: species with what sounds like them, and reference calls."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable
from dataclasses import dataclass, field
from typing import Any

from django.urls import reverse

from accounts.models import Membership
from surveys.models import Recording, ReferenceCall, Species
from surveys.visits.media.references import confirmed_species, heard_references
from surveys.web.guide.species import ShownGroup, look_alikes_of

MOST_BYTES_ON_PHONE = 3_000_000


@dataclass(frozen=True, kw_only=True)
class ShownCall:
    """A species with the reference calls that the member may hear: its own, and of a joint entry
    those of its members."""

    species: Species
    references: list[ReferenceCall]
    groups: list[ShownGroup] = field(default_factory=list)


def calls_of(member: Membership, species: Iterable[Species]) -> list[ShownCall]:
    """In the order of the species. Their `members` should be fetched beforehand."""
    listed = list(species)
    heard_as = {one.pk: [one.pk, *(other.pk for other in one.members.all())] for one in listed}
    wanted = {pk for several in heard_as.values() for pk in several}
    references: dict[int, list[ReferenceCall]] = defaultdict(list)
    for reference in heard_references(member).filter(species__in=wanted):
        references[reference.species_id].append(reference)
    return [
        ShownCall(
            species=one,
            references=[found for pk in heard_as[one.pk] for found in references[pk]],
        )
        for one in listed
    ]


def references_for_phones(member: Membership, codes: Collection[str]) -> list[dict[str, Any]]:
    """Reference calls of these species that a phone takes along: one of each species first, until
    they have MOST_BYTES_ON_PHONE."""
    found = heard_references(member).filter(species__code__in=codes)
    nth: dict[int, int] = defaultdict(int)
    ordered = []
    for reference in found:
        ordered.append((nth[reference.species_id], reference))
        nth[reference.species_id] += 1
    ordered.sort(key=lambda pair: pair[0])
    taken: list[dict[str, Any]] = []
    room = MOST_BYTES_ON_PHONE
    for _, reference in ordered:
        if reference.bytes <= room:
            room -= reference.bytes
            taken.append(_for_phone(member, reference))
    return taken


def _for_phone(member: Membership, reference: ReferenceCall) -> dict[str, Any]:
    where = {"program": member.program.slug, "reference_id": reference.pk}
    return {
        "id": str(reference.pk),
        "species": reference.species.code,
        "url": reverse("web:reference_sound", kwargs=where),
        "bytes": reference.bytes,
        "by": reference.by,
        "license": reference.license,
    }


@dataclass(frozen=True, kw_only=True)
class Beside:
    """A species and what is taken for it, side by side, with how they differ."""

    shown: ShownCall
    groups: list[ShownGroup]
    others: list[ShownCall]


def beside(member: Membership, species: Species) -> Beside:
    heard_as = {species.pk, *species.members.values_list("pk", flat=True)}
    others = (
        Species.objects.filter(look_alikes__members__in=heard_as)
        .exclude(pk__in=heard_as)
        .distinct()
        .prefetch_related("members")
        .order_by("common_name")
    )
    (shown,) = calls_of(member, [species])
    return Beside(shown=shown, groups=look_alikes_of(species), others=calls_of(member, others))


def to_compare(member: Membership, recording: Recording) -> list[ShownCall]:
    """What a recording is heard beside: the species it is named for or was confirmed, and what is
    taken for them on the checklist."""
    named = {row.pk: row for row in confirmed_species(recording)}
    if recording.species is not None:
        named[recording.species.pk] = recording.species
    heard_as = {pk for one in named.values() for pk in (one.pk, *_members(one))}
    beside_them = (
        Species.objects.filter(
            look_alikes__members__in=heard_as, checklist_entries__program=member.program
        )
        .exclude(pk__in=named)
        .distinct()
        .prefetch_related("members")
        .order_by("common_name")
    )
    return calls_of(member, [*named.values(), *beside_them])


def _members(species: Species) -> list[int]:
    return [member.pk for member in species.members.all()]
