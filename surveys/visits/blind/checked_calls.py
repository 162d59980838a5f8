"""What people heard in the recordings of an observer without seeing the sheet, beside what the
observer wrote down."""

from __future__ import annotations

import uuid
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping

from django.db.models import Count, Q

from surveys.models import CallIndex, Program, Recording, Species
from surveys.sound.hearing_errors import Written
from surveys.visits.blind.verdict import AGREEING
from surveys.visits.blind.waiting import in_sample
from surveys.visits.confirmable import CONFIRMABLE
from surveys.visits.joint_entries import members_by_joint_entry

Place = tuple[uuid.UUID, int]


def checked_calls(program: Program, person: int, season_year: int | None = None) -> list[Written]:
    """By code of species, from the recordings of the random share that at least two people could
    hear and are done with. In four queries."""
    recordings = _heard_again(program, person, season_year)
    sheets = _sheets({recording.visit_id for recording in recordings})
    members = members_by_joint_entry(Species.objects.known_to(program))
    return [
        call
        for recording in recordings
        for call in _beside_the_sheet(
            recording, sheets[recording.visit_id, recording.stop_id], members
        )
    ]


def _heard_again(program: Program, person: int, season_year: int | None) -> list[Recording]:
    chosen = Recording.objects.filter(
        visit__route__program=program,
        visit__observer=person,
        visit__state__in=CONFIRMABLE,
        blind_listening__finished_at__isnull=False,
    )
    if season_year is not None:
        chosen = chosen.filter(visit__season_year=season_year)
    usable = Count("blind_listening__answers", filter=Q(blind_listening__answers__is_usable=True))
    return list(
        in_sample(chosen)
        .annotate(usable=usable)
        .filter(usable__gte=AGREEING)
        .select_related("blind_listening")
        .order_by("visit__night", "pk")
    )


def _sheets(visits: Iterable[uuid.UUID]) -> dict[Place, dict[str, int | None]]:
    """By visit and stop, the call index of each species; None where the observer was not sure."""
    sheets: dict[Place, dict[str, int | None]] = defaultdict(dict)
    calls = CallIndex.objects.filter(period__visit__in=visits).order_by()
    for visit, stop, code, index in calls.values_list(
        "period__visit", "period__stop", "species__code", "index"
    ):
        sheets[visit, stop][code] = index
    return sheets


def _beside_the_sheet(
    recording: Recording,
    sheet: Mapping[str, int | None],
    members: Mapping[str, frozenset[str]],
) -> Iterator[Written]:
    listening = recording.blind_listening
    # Somebody may know the species of a joint entry apart where others do not: neither is an error.
    related = {code for joint in members.keys() & sheet.keys() for code in members[joint]}
    related |= members.keys() - sheet.keys()
    for code in sorted(listening.agreed.keys() | sheet.keys()):
        there = code in listening.agreed
        index = sheet.get(code)
        is_unsure = code in sheet and index is None
        if is_unsure or (code in related and code not in sheet):
            continue
        if not there and code in listening.disputed:
            continue
        yield Written(
            species=code,
            there=there,
            heard_index=listening.agreed.get(code),
            index=index,
        )
