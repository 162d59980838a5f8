"""How often the hint was right: beside what people heard who did not see the sheet."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass

from django.db.models import Count, Q

from surveys.models import BlindListening, Program, Recording, Species
from surveys.sound.hearing_errors import Share
from surveys.visits.blind.verdict import AGREEING
from surveys.visits.confirmable import CONFIRMABLE
from surveys.visits.joint_entries import members_by_joint_entry, with_members
from surveys.visits.media.hints import KnownCalls, band_hints
from surveys.visits.media.references import air_at


@dataclass(frozen=True, kw_only=True)
class HintYear:
    """Of a season year: `heard` recordings that two people agree on, the share that the hint names
    a species in, and of these the share in which nobody heard any that it named."""

    season_year: int
    named: Share
    wrong: Share


def hint_errors(program: Program) -> list[HintYear]:
    """By season year, the latest first. By the reference calls of today; a recording is not
    compared with those that were taken from it."""
    known = KnownCalls(program)
    members = members_by_joint_entry(Species.objects.known_to(program))
    counts: dict[int, list[bool | None]] = defaultdict(list)
    for recording in _heard_by_two(program):
        ranges = known.on(recording.visit.night, without=recording.pk)
        found = band_hints(recording.picture.measures, ranges, air_at(recording))
        named = [frozenset(one.hint.species) for one in found if one.hint.species]
        counts[recording.visit.season_year].append(
            _is_wrong(named, recording.blind_listening, members)
        )
    return [
        HintYear(
            season_year=year,
            named=Share(part=sum(one is not None for one in several), whole=len(several)),
            wrong=Share(
                part=sum(one is True for one in several),
                whole=sum(one is not None for one in several),
            ),
        )
        for year, several in sorted(counts.items(), reverse=True)
    ]


def _heard_by_two(program: Program) -> list[Recording]:
    usable = Count("blind_listening__answers", filter=Q(blind_listening__answers__is_usable=True))
    return list(
        Recording.objects.filter(
            visit__route__program=program,
            visit__state__in=CONFIRMABLE,
            blind_listening__finished_at__isnull=False,
            picture__measures__isnull=False,
        )
        .annotate(usable=usable)
        .filter(usable__gte=AGREEING)
        .select_related("blind_listening", "picture", "visit")
        .prefetch_related("visit__periods")
        .order_by("visit__night", "pk")
    )


def _is_wrong(
    named: list[frozenset[str]],
    listening: BlindListening,
    members: Mapping[str, frozenset[str]],
) -> bool | None:
    """None where the hint named nothing, or only what one listener alone heard."""
    heard = with_members(listening.agreed, members)
    disputed = with_members(listening.disputed, members)
    certain = [species for species in named if species & heard or not species & disputed]
    if not certain:
        return None
    return any(not species & heard for species in certain)
