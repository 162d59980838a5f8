"""What became of each visit after it was made: waiting, sent back, accepted, set aside."""

import datetime as dt
from collections.abc import Mapping
from enum import StrEnum
from random import Random

from surveys.demo.plan import PlannedVisit
from surveys.demo.truths import Habits
from surveys.models import StoredFinding
from surveys.protocol.values import Severity

_WAITING = 12
_SENT_BACK_AMONG_WAITING = (2, 7)

VisitKey = tuple[str, dt.date]

_SEND_BACK_NOTES = (
    "Please compare the times of the last stops with your paper sheet: two look swapped.",
    "Your note mentions a helper, but no second observer is entered. Who was with you?",
    "The rain of the past two days is missing. Do you remember it, or a gauge nearby?",
)
SET_ASIDE_NOTES = (
    "Entered twice: the other sheet of this night is the right one.",
    "The observer asked to withdraw it; the recorder of the calls was not trained yet.",
    "Wrong route: the times belong to the neighboring one.",
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
        "Kept for the record, excluded from trends.",
    ),
}


class Outcome(StrEnum):
    WAITING = "waiting"
    SENT_BACK = "sent back"
    ACCEPTED = "accepted"
    RETURNED_THEN_ACCEPTED = "returned, then accepted"
    SET_ASIDE = "set aside"


def outcomes(
    visits: tuple[PlannedVisit, ...],
    queries: Mapping[VisitKey, int],
    habits: Habits,
    *,
    favorite: str,
    rng: Random,
) -> Mapping[VisitKey, Outcome]:
    """The outcome of each visit by its key. `visits` come in the order of their nights,
    `queries` says how many queries each has.

    Some of the last ones wait in the review queue, those with something to settle first;
    one of the last of `favorite` was sent back.
    """
    outcomes = {visit.key: _decided_outcome(habits, rng) for visit in visits}
    latest = [visit for visit in visits if visit.season == visits[-1].season] if visits else []
    recent = sorted(
        latest[-2 * _WAITING :],
        key=lambda visit: (not queries[visit.key], -visit.outing.night.toordinal()),
    )
    for position, visit in enumerate(recent[: min(_WAITING, len(latest) // 2)]):
        sent_back = position in _SENT_BACK_AMONG_WAITING and visit.observer != favorite
        outcomes[visit.key] = Outcome.SENT_BACK if sent_back else Outcome.WAITING
    of_favorite = [visit for visit in visits if visit.observer == favorite]
    last_season = [visit for visit in of_favorite if visit.season == of_favorite[-1].season]
    if last_season:
        outcomes[max(last_season, key=lambda visit: bool(queries[visit.key])).key] = (
            Outcome.SENT_BACK
        )
    return outcomes


def send_back_note(findings: list[StoredFinding], rng: Random) -> str:
    """What the coordinator asks: about the first query when there is one."""
    asked = next((f for f in findings if f.severity == Severity.QUERY), None)
    if asked is None:
        return rng.choice(_SEND_BACK_NOTES)
    return f"{asked.message} Please compare with your notes, and submit again either way."


def _decided_outcome(habits: Habits, rng: Random) -> Outcome:
    draw = rng.random()
    if draw < habits.set_aside_share:
        return Outcome.SET_ASIDE
    if draw < habits.set_aside_share + habits.sent_back_once_share:
        return Outcome.RETURNED_THEN_ACCEPTED
    return Outcome.ACCEPTED
