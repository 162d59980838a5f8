"""Voucher recordings for some visits of the demo, so that there is something to listen to.

They come in as a phone sends them, through the same verbs, and the note of each of these visits
says that the sound is synthetic.
"""

import datetime as dt
import hashlib
import io
import uuid
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from random import Random

from accounts.models import Membership
from surveys.demo.sounds import SECONDS, chorus
from surveys.models import CallIndex, Program, RecordingKind, Source, Visit, VisitState
from surveys.visits.bulk import FreshRows
from surveys.visits.media.recordings import (
    RecordingAnnouncement,
    add_piece,
    assemble_recording,
    begin_recording,
)

NOTE = (
    "The recordings of this visit are synthetic: made by computer for the demo, "
    "with no animal behind them."
)
_VISITS = {VisitState.SUBMITTED: 5, VisitState.ACCEPTED: 4}
_A_VISIT = 2
_INTO_THE_PERIOD = dt.timedelta(seconds=40)


@dataclass(frozen=True, kw_only=True)
class RecordedVisit:
    """A visit and those of its calls that are recorded."""

    visit: Visit
    calls: tuple[CallIndex, ...]


def choose_recorded_visits(rows: FreshRows) -> tuple[RecordedVisit, ...]:
    """The newest visits in review and the newest accepted ones, those from a phone first.

    Their notes say from now on that the sound is synthetic; to be called before the rows
    are written.
    """
    heard: dict[uuid.UUID, list[CallIndex]] = {}
    for call in rows.calls:
        if call.index and not call.not_sure:
            heard.setdefault(call.period.visit_id, []).append(call)
    recorded_visits = []
    for state, most in _VISITS.items():
        fitting = [visit for visit in rows.visits if visit.state == state and visit.pk in heard]
        fitting.sort(key=lambda visit: (visit.source == Source.PHONE, visit.night), reverse=True)
        recorded_visits += [
            RecordedVisit(visit=visit, calls=tuple(_calls_to_record(heard[visit.pk])))
            for visit in fitting[:most]
        ]
    for recorded in recorded_visits:
        _note_synthetic_sound(recorded.visit)
    return tuple(recorded_visits)


def send_recordings(recorded_visits: Iterable[RecordedVisit], program: Program, rng: Random) -> int:
    """Begin, send and join every recording in its observer's name; how many there were. The caller
    asks for their pictures."""
    members = {m.person_id: m for m in Membership.objects.filter(program=program)}
    sent = 0
    for recorded in recorded_visits:
        member = members[recorded.visit.observer_id]
        for call in recorded.calls:
            _send(member, call, rng)
            sent += 1
    return sent


def _calls_to_record(calls: list[CallIndex]) -> Iterator[CallIndex]:
    """The loudest call of the visit, then one of another species."""
    loudest = max(calls, key=lambda call: call.index)
    yield loudest
    others = [call for call in calls if call.species_id != loudest.species_id]
    yield from others[: _A_VISIT - 1]


def _note_synthetic_sound(visit: Visit) -> None:
    # The cells are shared with the visit's submissions, which keep what was handed in.
    visit.notes = " ".join(part for part in (visit.notes, NOTE) if part)
    visit.cells["notes"] = visit.notes


def _send(member: Membership, call: CallIndex, rng: Random) -> None:
    content = chorus(call.species.code, call.index, rng)
    announcement = RecordingAnnouncement(
        id=uuid.UUID(int=rng.getrandbits(128), version=4),
        visit=call.period.visit_id,
        kind=RecordingKind.VOUCHER,
        media_type="audio/wav",
        seconds=SECONDS,
        bytes=len(content),
        sha256=hashlib.sha256(content).hexdigest(),
        stop=call.period.stop.number,
        species=call.species.code,
        recorded_at=call.period.started_at + _INTO_THE_PERIOD,
    )
    begin_recording(member, announcement)
    add_piece(member, announcement.id, offset=0, content=io.BytesIO(content), length=len(content))
    assemble_recording(announcement.id, ask=False)
