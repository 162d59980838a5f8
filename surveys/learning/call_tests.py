"""Setting a call-identification test, and taking it."""

from __future__ import annotations

import datetime as dt
import secrets
import uuid
from calendar import monthrange
from collections.abc import Collection, Mapping
from dataclasses import asdict, dataclass

from django.core.exceptions import PermissionDenied, ValidationError
from django.db import transaction
from django.utils import timezone

from accounts.access import Permission, may, require
from accounts.models import Membership
from accounts.people import record_passed_test
from surveys.language import gettext, said
from surveys.learning.bank import Bank, bank_of
from surveys.models import (
    CallTest,
    CallTestHeard,
    CallTestQuestion,
    CallTestTry,
    Program,
    Species,
)
from surveys.programs.assignments import today_of
from surveys.protocol.nights import night_of
from surveys.protocol.words import listed
from surveys.sound.questions import Question, draw_test, fewest_questions
from surveys.sound.scoring import Heard, Score, compare, passes, score
from surveys.visits.exceptions import NotYours
from surveys.visits.tonight import listed_species

FEWEST_SPECIES = 2


@dataclass(frozen=True, kw_only=True)
class Terms:
    """What a test asks for, as `CallTest` has it."""

    species: Collection[str]
    questions: int
    pass_overall: int
    pass_species: int
    valid_months: int
    tries_allowed: int


def bank_to_test(member: Membership) -> Bank:
    """The species that a test of the program can ask about: those of tonight's checklist."""
    program = member.program
    return bank_of(member, listed_species(program, night_of(timezone.now(), program.time_zone)))


def open_test(program: Program) -> CallTest | None:
    return program.call_tests.filter(closed_at=None).first()


@transaction.atomic
def set_test(member: Membership, terms: Terms) -> CallTest:
    """Set the test of the program; the one before is closed. Raises ValidationError by field."""
    require(member, Permission.MANAGE)
    _check_terms(terms, {one.species for one in bank_to_test(member).candidates})
    Program.objects.select_for_update().get(pk=member.program_id)
    close_test(member)
    values = asdict(terms) | {"species": list(terms.species)}
    return CallTest.objects.create(program=member.program, set_by=member.person, **values)


@transaction.atomic
def close_test(member: Membership) -> None:
    """Nobody begins the test from now on; who has begun may finish."""
    require(member, Permission.MANAGE)
    for test in member.program.call_tests.select_for_update().filter(closed_at=None):
        test.closed_at = timezone.now()
        test.save(update_fields=["closed_at"])


def _check_terms(terms: Terms, known: Collection[str]) -> None:
    unknown = [code for code in terms.species if code not in known]
    if unknown:
        raise ValidationError(
            {"species": gettext("One of these species has no call to play. Choose again.")}
        )
    if len(terms.species) < FEWEST_SPECIES:
        raise ValidationError({"species": gettext("Choose at least two species.")})
    fewest = fewest_questions(len(terms.species))
    if terms.questions < fewest:
        raise ValidationError(
            {
                "questions": said(
                    "Write {fewest} or more, so that each species is asked about.", fewest=fewest
                )
            }
        )


def tries_left(member: Membership, test: CallTest) -> int:
    begun = test.tries.filter(person=member.person_id).count()
    return max(0, test.tries_allowed - begun)


def try_under_way(member: Membership) -> CallTestTry | None:
    """The member's try that has questions left, of any test of the program."""
    return CallTestTry.objects.filter(
        test__program=member.program_id, person=member.person_id, finished_at=None
    ).first()


@transaction.atomic
def begin(member: Membership, now: dt.datetime | None = None) -> CallTestTry:
    """A new try at the program's test, or the one under way. Raises PermissionDenied, and
    ValidationError where the test can no longer be asked."""
    require(member, Permission.SURVEY)
    # One after the other, so that nobody begins two at once.
    Membership.objects.select_for_update().get(pk=member.pk)
    if begun := try_under_way(member):
        return begun
    test = open_test(member.program)
    if test is None:
        raise PermissionDenied(gettext("This program has no test now. Ask a coordinator."))
    if not tries_left(member, test):
        raise PermissionDenied(
            gettext("You have no tries left. Ask a coordinator to set a new test.")
        )
    species = Species.objects.filter(code__in=test.species).prefetch_related("members")
    bank = bank_of(member, species.order_by("common_name"))
    if bank.without_call or len(bank.candidates) < len(test.species):
        names = listed([one.name for one in bank.without_call])
        raise ValidationError(
            said("There is no call left to play for: {names}. Tell a coordinator.", names=names)
        )
    taken = CallTestTry.objects.create(
        test=test, person=member.person, begun_at=now or timezone.now()
    )
    questions = draw_test(bank.candidates, number=test.questions, seed=secrets.randbits(63))
    CallTestQuestion.objects.bulk_create(
        CallTestQuestion(
            taken=taken, number=number, question=question.plain(), calls=question.calls()
        )
        for number, question in enumerate(questions, start=1)
    )
    return taken


def next_question(member: Membership, try_id: uuid.UUID) -> CallTestQuestion | None:
    """The question that the member is to answer; None once all are. Raises NotYours."""
    return _own_try(member, try_id).questions.filter(answered_at=None).first()


def find_question(member: Membership, try_id: uuid.UUID, number: int) -> CallTestQuestion:
    """A question whose sound may be played: of a try under way the one that is to be answered, by
    who takes it; of one that is finished any, by coordinators too. Raises NotYours."""
    taken = find_try(member, try_id)
    found = taken.questions.filter(number=number).first()
    # Of others, `next_question` knows none.
    if taken.finished_at is None and found != next_question(member, try_id):
        found = None
    if found is None:
        raise NotYours(gettext("There is no such question, or it is not yours to hear now."))
    return found


def find_try(member: Membership, try_id: uuid.UUID) -> CallTestTry:
    """A try that the member took; of a coordinator, any of the program. Raises NotYours."""
    tries = CallTestTry.objects.filter(test__program=member.program_id)
    if not may(member, Permission.MANAGE):
        tries = tries.filter(person=member.person_id)
    found = tries.select_related("test__program", "person").filter(pk=try_id).first()
    if found is None:
        raise NotYours(gettext("There is no such test, or it is not yours."))
    return found


@transaction.atomic
def answer(
    member: Membership,
    try_id: uuid.UUID,
    number: int,
    named: Mapping[str, int | None],
    now: dt.datetime | None = None,
) -> CallTestTry:
    """Store which species the member named in a question, each with its index.

    An answer to another question than the next changes nothing: it was sent twice. The last one
    ends the try; who passes has a valid test from that day on. Raises NotYours.
    """
    _own_try(member, try_id)
    taken = CallTestTry.objects.select_for_update().get(pk=try_id)
    at = now or timezone.now()
    question = next_question(member, try_id)
    if question is None or question.number != number:
        return taken
    _store(question, named)
    question.answered_at = at
    question.save(update_fields=["answered_at"])
    if next_question(member, try_id) is None:
        _finish(member, taken, at)
    return taken


def score_of(taken: CallTestTry) -> Score:
    return score(
        Heard(
            species=row.species.code,
            was_there=row.was_there,
            was_named=row.was_named,
            index_there=row.index_there,
            index_named=row.index_named,
        )
        for row in CallTestHeard.objects.filter(question__taken=taken).select_related("species")
    )


def months_later(day: dt.date, months: int) -> dt.date:
    """The same day of a later month, or its last.

    >>> months_later(dt.date(2024, 1, 31), 1), months_later(dt.date(2024, 11, 30), 14)
    (datetime.date(2024, 2, 29), datetime.date(2026, 1, 30))
    """
    years, month = divmod(day.month - 1 + months, 12)
    year = day.year + years
    return dt.date(year, month + 1, min(day.day, monthrange(year, month + 1)[1]))


def _own_try(member: Membership, try_id: uuid.UUID) -> CallTestTry:
    require(member, Permission.SURVEY)
    taken = find_try(member, try_id)
    if taken.person_id != member.person_id:
        raise NotYours(gettext("There is no such test, or it is not yours."))
    return taken


def _store(stored: CallTestQuestion, named: Mapping[str, int | None]) -> None:
    question = Question.from_plain(stored.question)
    rows = compare(
        question.there, {code: index for code, index in named.items() if code in question.choices}
    )
    codes = [row.species for row in rows]
    species = {one.code: one for one in Species.objects.filter(code__in=codes)}
    CallTestHeard.objects.bulk_create(
        CallTestHeard(
            question=stored,
            species=species[row.species],
            was_there=row.was_there,
            was_named=row.was_named,
            index_there=row.index_there,
            index_named=row.index_named,
        )
        for row in rows
    )


def _finish(member: Membership, taken: CallTestTry, at: dt.datetime) -> None:
    test = taken.test
    taken.finished_at = at
    taken.passed = passes(
        score_of(taken),
        test.species,
        overall_percent=test.pass_overall,
        species_percent=test.pass_species,
    )
    if taken.passed:
        today = today_of(member.program)
        until = months_later(today, test.valid_months)
        taken.valid_until = record_passed_test(member, today, until).trained_until
    taken.save(update_fields=["finished_at", "passed", "valid_until"])
