"""What became of each visit after it was made: waiting, sent back, accepted, set aside."""

import datetime as dt
from collections.abc import Mapping
from enum import StrEnum
from random import Random

from surveys.demo.plan import PlannedVisit
from surveys.demo.truths import Habits

_WAITING = 12
_SENT_BACK_AMONG_WAITING = (2, 7)

SEND_BACK_NOTES = (
    "The listening at one stop looks shorter than the protocol asks for. Is the end time right?",
    "Could you look at the temperature once more? It does not fit the night.",
    "Please check the order of the stops against your paper sheet.",
    "Was the wind really that strong at the start? Write what you remember, or leave it empty.",
)
SET_ASIDE_NOTES = (
    "Entered twice: the other sheet of this night is the right one.",
    "The observer asked to withdraw it; the recorder of the calls was not trained yet.",
    "Wrong route: the times belong to the neighbouring one.",
)
REASONS = {
    "counts": (
        "Checked with the observer; the reading is right and calling was not affected.",
        "Close to the limit, and other routes heard normal calling that night.",
        "Agreed with the second coordinator: the listening itself was complete.",
    ),
    "left_out": (
        "Too far from the protocol to be compared with other years.",
        "Hearing was limited, so silence cannot be taken as a zero.",
        "Kept for the record, left out of the trends.",
    ),
}


class Fate(StrEnum):
    WAITING = "waiting"
    SENT_BACK = "sent back"
    ACCEPTED = "accepted"
    RETURNED_THEN_ACCEPTED = "returned, then accepted"
    SET_ASIDE = "set aside"


def fates(
    visits: tuple[PlannedVisit, ...], habits: Habits, *, favourite: str, rng: Random
) -> Mapping[tuple[str, dt.date], Fate]:
    """The fate of each visit by its key. `visits` come in the order of their nights. Some
    of the last ones wait in the review queue, those with something to settle first; the
    last one of `favourite` was sent back."""
    found = {visit.key: _settled_fate(habits, rng) for visit in visits}
    latest = [visit for visit in visits if visit.season == visits[-1].season] if visits else []
    recent = sorted(
        latest[-2 * _WAITING :],
        key=lambda visit: (not visit.outing.flags, -visit.outing.night.toordinal()),
    )
    for position, visit in enumerate(recent[: min(_WAITING, len(latest) // 2)]):
        sent_back = position in _SENT_BACK_AMONG_WAITING
        found[visit.key] = Fate.SENT_BACK if sent_back else Fate.WAITING
    own = next((visit for visit in reversed(visits) if visit.observer == favourite), None)
    if own is not None:
        found[own.key] = Fate.SENT_BACK
    return found


def _settled_fate(habits: Habits, rng: Random) -> Fate:
    draw = rng.random()
    if draw < habits.set_aside_share:
        return Fate.SET_ASIDE
    if draw < habits.set_aside_share + habits.sent_back_once_share:
        return Fate.RETURNED_THEN_ACCEPTED
    return Fate.ACCEPTED
