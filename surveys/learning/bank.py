"""Which species can be asked about: those with a reference call, or with a call that is made."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from accounts.models import Membership
from surveys.learning.seasonal import Scope
from surveys.models import LookAlikes, Species
from surveys.sound.calls import call_of
from surveys.sound.questions import Candidate
from surveys.visits.media.references import heard_references


@dataclass(frozen=True, kw_only=True)
class Bank:
    """`without_call` are species that have only words; `scope` is how the candidates were
    chosen."""

    candidates: list[Candidate]
    species: dict[str, Species]
    without_call: list[Species]
    scope: Scope = Scope.ALL


def bank_of(member: Membership, species: Iterable[Species]) -> Bank:
    """The bank of some species, in their order. Their `members` should be fetched beforehand."""
    listed = _told_apart([one for one in species if not one.is_silent])
    recordings: dict[int, list[str]] = defaultdict(list)
    for key, species_id in heard_references(member).values_list("pk", "species_id"):
        recordings[species_id].append(str(key))
    alike = _alike(listed)
    found = [
        Candidate(
            species=one.code,
            voices=tuple(voice.code for voice in heard_as(one) if call_of(voice.code)),
            recordings=tuple(key for voice in _recorded_as(one) for key in recordings[voice.pk]),
            alike=alike[one.code],
        )
        for one in listed
    ]
    asked = [one for one in found if one.voices or one.recordings]
    codes = {one.species for one in asked}
    return Bank(
        candidates=asked,
        species={one.code: one for one in listed if one.code in codes},
        without_call=[one for one in listed if one.code not in codes],
    )


def heard_as(species: Species) -> Sequence[Species]:
    """The species whose calls are heard: of a joint entry its members."""
    return list(species.members.all()) if species.is_complex else [species]


def _recorded_as(species: Species) -> Sequence[Species]:
    """A recording may be known as one of a joint entry and of no member."""
    return [species, *heard_as(species)] if species.is_complex else [species]


def _told_apart(species: Sequence[Species]) -> list[Species]:
    """Without joint entries that share a call with another of the list: both would be right."""
    taken = {one.pk for one in species if not one.is_complex}
    kept = []
    for one in species:
        if one.is_complex:
            members = {member.pk for member in heard_as(one)}
            if members & taken:
                continue
            taken |= members
        kept.append(one)
    return kept


def _alike(species: Sequence[Species]) -> dict[str, frozenset[str]]:
    """By code, the codes of the others that are taken for it."""
    codes = {voice.pk: one.code for one in species for voice in _recorded_as(one)}
    found: dict[str, set[str]] = {one.code: set() for one in species}
    groups = LookAlikes.objects.filter(members__in=codes).distinct().prefetch_related("members")
    for group in groups:
        together = {codes[one.pk] for one in group.members.all() if one.pk in codes}
        for code in together:
            found[code] |= together - {code}
    return {code: frozenset(others) for code, others in found.items()}
