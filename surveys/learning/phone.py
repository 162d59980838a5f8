"""Practice on the phone: what it draws questions from, and the answers that it sends later.

The phone draws as `surveys.sound.questions.draw_practice` does, so nothing is asked of the server.
"""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Collection, Iterable, Mapping
from dataclasses import asdict
from typing import Any

from django.core.exceptions import ValidationError
from django.utils import timezone

from accounts.models import Membership
from surveys.language import gettext, said
from surveys.learning.bank import bank_of
from surveys.learning.practice import Asked, answer, tallies_of
from surveys.models import PracticeAnswer, Species
from surveys.sound.calls import call_of
from surveys.sound.questions import Kind, Question
from surveys.visits.exceptions import NotYours

KINDS = (Kind.WHICH_ONE, Kind.WHICH_OF_THESE, Kind.WHICH_INDEX)
# An answer may wait for signal for a season; an older time is a clock that is wrong.
_LONGEST_WAIT = dt.timedelta(days=400)


def practice_for_phones(
    member: Membership, listed: Iterable[Species], kept: Collection[str]
) -> dict[str, Any]:
    """Candidates of the checklist, with the recordings that the phone keeps, and what the member
    knows and confuses. The phone knows which species call tonight."""
    candidates = [
        {
            "species": one.species,
            "voices": one.voices,
            "recordings": [key for key in one.recordings if key in kept],
            "alike": sorted(one.alike),
        }
        for one in bank_of(member, listed).candidates
    ]
    asked = [one for one in candidates if one["voices"] or one["recordings"]]
    return {"candidates": asked, "tallies": plain_tallies(member)}


def plain_tallies(member: Membership) -> dict[str, Any]:
    return {code: asdict(tally) for code, tally in sorted(tallies_of(member).items())}


def answer_from_phone(
    member: Membership,
    answer_id: uuid.UUID,
    *,
    question: Mapping[str, Any],
    named: Mapping[str, int | None],
    answered_at: dt.datetime,
    answered_by_id: int | None = None,
) -> PracticeAnswer:
    """Store an answer that was given on the phone; the same one again changes nothing.

    An answer of another person, who has lent the phone or signed out meanwhile, is not the
    member's. Raises NotYours, ValidationError.
    """
    if answered_by_id not in (None, member.person_id):
        raise NotYours(gettext("Someone else gave this answer. They have to sign in to send it."))
    asked = Question.from_plain(question)
    _check(member, asked, named)
    now = timezone.now()
    at = max(min(answered_at, now), now - _LONGEST_WAIT)
    return answer(member, Asked(id=answer_id, question=asked), named, at=at)


def _check(member: Membership, asked: Question, named: Mapping[str, int | None]) -> None:
    """Raises ValidationError for what no phone draws: the page of the answer could not show it."""
    shown = set(asked.choices)
    if not (asked.there and shown >= {*asked.there, *named}):
        raise ValidationError({"question": gettext("Species that call are among the choices.")})
    if bool(asked.recording) is any(voice.index for voice in asked.voices):
        raise ValidationError(
            {"question": gettext("A recording has no call index, and a call that is made has one.")}
        )
    known = set(
        Species.objects.known_to(member.program)
        .filter(code__in=shown)
        .values_list("code", flat=True)
    )
    made = {voice.made_as for voice in asked.voices if voice.index}
    missing = sorted((shown - known) | {code for code in made if call_of(code) is None})
    if missing:
        raise ValidationError(
            {"question": said("The program does not know {species}.", species=", ".join(missing))}
        )
