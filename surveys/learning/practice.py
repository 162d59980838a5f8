"""Practice with calls: questions that a page carries, and answers that only the learner sees."""

from __future__ import annotations

import datetime as dt
import secrets
import uuid
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

from django.core import signing
from django.db import transaction
from django.db.models import QuerySet
from django.utils import timezone

from accounts.access import Permission, require
from accounts.models import Membership
from surveys.language import gettext
from surveys.learning.bank import Bank, bank_of
from surveys.learning.seasonal import Scope, asked_now
from surveys.models import PracticeAnswer, PracticeHeard, Species
from surveys.protocol.nights import night_of
from surveys.sound.questions import Question, Tally, draw_practice, tallied
from surveys.sound.scoring import Heard, compare
from surveys.visits.exceptions import NotYours
from surveys.visits.tonight import days_to_calling

_SALT = "practice"
# What a learner confused long ago says little of today.
LATEST_ANSWERS = 300


@dataclass(frozen=True, kw_only=True)
class Asked:
    """A question on a page; `id` is that of the answer it will have."""

    id: uuid.UUID
    question: Question


def practice_bank(member: Membership, *, in_season: bool = True) -> Bank:
    """Species of tonight's checklist in their calling season, filled up where they are few; where
    none of these can be asked about, or with `in_season=False`, all of the checklist."""
    program = member.program
    away = days_to_calling(program, night_of(timezone.now(), program.time_zone))
    whole = bank_of(member, away)
    if not in_season:
        return whole
    days = {one.code: number for one, number in away.items()}
    scope, asked = asked_now({one.species: days[one.species] for one in whole.candidates})
    return replace(
        whole,
        scope=scope,
        candidates=[one for one in whole.candidates if one.species in asked],
        without_call=[
            one for one in whole.without_call if scope is Scope.NONE_CALLS or not days[one.code]
        ],
    )


def ask(member: Membership, bank: Bank) -> Asked | None:
    """A new question; None where the bank is empty."""
    require(member, Permission.READ_SEASONS)
    if not bank.candidates:
        return None
    question = draw_practice(bank.candidates, tallies_of(member), seed=secrets.randbits(63))
    return Asked(id=uuid.uuid4(), question=question)


def signed(member: Membership, asked: Asked) -> str:
    """The question as a page carries it. It can be read, but not changed, nor taken to another
    program: who learns cheats nobody but themselves."""
    value = {"id": str(asked.id), "question": asked.question.plain()}
    return signing.dumps(value, salt=_salt_of(member), compress=True)


def unsigned(member: Membership, token: str) -> Asked:
    """Raises NotYours."""
    require(member, Permission.READ_SEASONS)
    try:
        value = signing.loads(token, salt=_salt_of(member))
    except signing.BadSignature:
        raise NotYours(gettext("This question is not yours. Open the practice again.")) from None
    return Asked(id=uuid.UUID(value["id"]), question=Question.from_plain(value["question"]))


@transaction.atomic
def answer(
    member: Membership,
    asked: Asked,
    named: Mapping[str, int | None],
    *,
    at: dt.datetime | None = None,
) -> PracticeAnswer:
    """Store which species the learner named, with the index where it was asked. An answer that is
    sent twice stays as it was the first time. `at` is when it was given, if not now."""
    require(member, Permission.READ_SEASONS)
    stored, is_new = PracticeAnswer.objects.get_or_create(
        pk=asked.id,
        defaults={
            "program": member.program,
            "person": member.person,
            "question": asked.question.plain(),
            "answered_at": at or timezone.now(),
        },
    )
    if is_new:
        rows = compare(asked.question.there, named)
        species = _by_code(member, (row.species for row in rows))
        PracticeHeard.objects.bulk_create(
            PracticeHeard(
                answer=stored,
                species=species[row.species],
                was_there=row.was_there,
                was_named=row.was_named,
                index_there=row.index_there,
                index_named=row.index_named,
            )
            for row in rows
        )
    return find_answer(member, stored.pk)


def answers_of(member: Membership) -> QuerySet[PracticeAnswer]:
    """The member's own answers in the program; nobody reads those of others."""
    return PracticeAnswer.objects.filter(program=member.program_id, person=member.person_id)


def find_answer(member: Membership, answer_id: uuid.UUID) -> PracticeAnswer:
    """Raises NotYours."""
    found = answers_of(member).prefetch_related("heard__species").filter(pk=answer_id).first()
    if found is None:
        raise NotYours(gettext("There is no such answer, or it is not yours."))
    return found


def forget(member: Membership) -> int:
    """Delete the member's answers in the program; how many there were."""
    require(member, Permission.READ_SEASONS)
    own = answers_of(member)
    number = own.count()
    own.delete()
    return number


def tallies_of(member: Membership) -> dict[str, Tally]:
    """What the member knows and confuses, by code, from the latest answers."""
    latest = answers_of(member).order_by("-answered_at")[:LATEST_ANSWERS].values("pk")
    by_answer: dict[uuid.UUID, list[PracticeHeard]] = defaultdict(list)
    for row in PracticeHeard.objects.filter(answer__in=latest).select_related("species"):
        by_answer[row.answer_id].append(row)
    return tallied([heard_of(row) for row in rows] for rows in by_answer.values())


def heard_of(row: PracticeHeard) -> Heard:
    """The row as a plain value."""
    return Heard(
        species=row.species.code,
        was_there=row.was_there,
        was_named=row.was_named,
        index_there=row.index_there,
        index_named=row.index_named,
    )


def _by_code(member: Membership, codes: Iterable[str]) -> dict[str, Species]:
    known = Species.objects.known_to(member.program).filter(code__in=list(codes))
    return {one.code: one for one in known}


def _salt_of(member: Membership) -> str:
    return f"{_SALT}-{member.program_id}"
