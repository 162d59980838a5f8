"""Which recordings wait to be heard without the sheet, by whom, and which comes next."""

from __future__ import annotations

import uuid
from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence

from django.db.models import (
    CharField,
    Count,
    Exists,
    F,
    OuterRef,
    Q,
    QuerySet,
    Sum,
    prefetch_related_objects,
)
from django.db.models.functions import MD5, Cast, Substr

from accounts.access import Permission, may
from accounts.models import Membership
from accounts.training import Validity, validity_on
from surveys.models import (
    BlindAnswer,
    BlindListening,
    CallIndex,
    Confirmation,
    Program,
    Recording,
    RecordingKind,
    RecordingState,
    RouteYearCount,
    Species,
)
from surveys.programs.assignments import today_of
from surveys.visits.confirmable import CONFIRMABLE
from surveys.visits.joint_entries import members_by_joint_entry, with_members
from surveys.visits.media.hints import KnownCalls, band_hints
from surveys.visits.media.references import air_at

Place = tuple[uuid.UUID, int]

# The share of all recordings that is heard whatever they hold: 3 of 16. Which these are follows
# from their identifiers, which are random, and from nothing that anyone chooses.
SAMPLE_DIGITS = ("0", "1", "2")
SAMPLE_SHARE = len(SAMPLE_DIGITS) / 16
# Of more recordings than these, the newest are compared with one another.
MOST_COMPARED = 300


def may_listen(member: Membership) -> bool:
    """Coordinators; and, where the program says so, observers whose call-identification test is
    valid today."""
    if may(member, Permission.REVIEW):
        return True
    return (
        may(member, Permission.SURVEY)
        and member.program.tested_observers_listen
        and validity_on(member, today_of(member.program)) is Validity.VALID
    )


def waiting_recordings(member: Membership) -> QuerySet[Recording]:
    """Vouchers of the program that the member neither made nor heard, and on which those who heard
    them do not agree yet."""
    person = member.person_id
    answered = BlindAnswer.objects.filter(listening=OuterRef("pk"), listener=person)
    finished = BlindListening.objects.filter(pk=OuterRef("pk"), finished_at__isnull=False)
    return Recording.objects.filter(
        ~Exists(answered),
        ~Exists(finished),
        ~Q(visit__observer=person),
        ~Q(uploaded_by=person),
        Q(visit__second_member=None) | ~Q(visit__second_member=person),
        visit__route__program=member.program_id,
        visit__state__in=CONFIRMABLE,
        kind=RecordingKind.VOUCHER,
        state=RecordingState.COMPLETE,
        stop__isnull=False,
    )


def count_to_listen(member: Membership) -> int:
    """How many wait for the member; 0 for who may not listen."""
    return waiting_recordings(member).count() if may_listen(member) else 0


def in_sample(recordings: QuerySet[Recording]) -> QuerySet[Recording]:
    """Those of the random share."""
    digest = Substr(MD5(Cast("id", CharField())), 1, 1)
    return recordings.annotate(sample_digit=digest).filter(sample_digit__in=SAMPLE_DIGITS)


def next_recording(member: Membership) -> Recording | None:
    """What others have begun, then the random share, each from the oldest night on; then what is
    worth most: sheets without what the hint names, species of few routes, observers of whom little
    is confirmed."""
    waiting = waiting_recordings(member)
    begun = waiting.filter(blind_listening__isnull=False)
    for first in (begun, in_sample(waiting)):
        if found := first.order_by("visit__night", "pk").first():
            return found
    return _worth_most(member, waiting)


def _worth_most(member: Membership, waiting: QuerySet[Recording]) -> Recording | None:
    newest = list(
        waiting.order_by("-visit__night", "pk").annotate(observer=F("visit__observer"))[
            :MOST_COMPARED
        ]
    )
    species = _species_written(newest)
    unlike = _unlike_the_hint(member.program, newest, species)
    routes = _routes_by_species(
        member.program_id, {pk for found in species.values() for pk in found}
    )
    confirmed = _confirmed_by_observer(member.program_id)

    def worth(recording: Recording) -> tuple[bool, float, int]:
        known = [routes[pk] for pk in species[recording.visit_id, recording.stop_id]]
        fewest = min(known, default=float("inf"))
        return (recording.pk not in unlike, fewest, confirmed[recording.observer])

    return min(newest, key=worth, default=None)


def _species_written(recordings: Iterable[Recording]) -> dict[Place, set[int]]:
    """Keys of the species with an index at the stop of each recording."""
    found = defaultdict(set)
    calls = CallIndex.objects.filter(
        period__visit__in={recording.visit_id for recording in recordings}, index__isnull=False
    ).order_by()
    for visit, stop, species in calls.values_list("period__visit", "period__stop", "species"):
        found[visit, stop].add(species)
    return found


def _unlike_the_hint(
    program: Program, recordings: Sequence[Recording], written: Mapping[Place, set[int]]
) -> set[uuid.UUID]:
    """Recordings whose hint names species of which the sheet has none at that stop."""
    calls = KnownCalls(program)
    if not calls.can_name:
        return set()
    prefetch_related_objects(recordings, "picture", "visit__periods")
    species = Species.objects.known_to(program)
    codes = dict(species.values_list("pk", "code"))
    members = members_by_joint_entry(species)
    found = set()
    for recording in recordings:
        picture = getattr(recording, "picture", None)
        if picture is None or not picture.measures:
            continue
        at_stop = written[recording.visit_id, recording.stop_id]
        may_be = with_members({codes[pk] for pk in at_stop}, members)
        ranges = calls.on(recording.visit.night)
        for one in band_hints(picture.measures, ranges, air_at(recording)):
            if one.hint.species and may_be.isdisjoint(one.hint.species):
                found.add(recording.pk)
    return found


def _routes_by_species(program_id: int, species: set[int]) -> Counter[int]:
    """On how many routes each species was heard; 0 where it never counted."""
    counts = RouteYearCount.objects.filter(program=program_id, species__in=species).order_by()
    heard = counts.values("species", "route").annotate(
        stops=Sum(F("stops_at_1") + F("stops_at_2") + F("stops_at_3"))
    )
    return Counter(row["species"] for row in heard if row["stops"])


def _confirmed_by_observer(program_id: int) -> Counter[int]:
    confirmations = Confirmation.objects.filter(call__period__visit__route__program=program_id)
    counted = confirmations.order_by().values("call__period__visit__observer")
    return Counter(dict(counted.values_list("call__period__visit__observer").annotate(Count("pk"))))
