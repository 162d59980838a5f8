"""What came of a try at a test: shares with their intervals, over all and by species."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from django.db.models import QuerySet

from accounts.access import Permission, require
from accounts.models import Membership
from surveys.learning.call_tests import score_of
from surveys.models import CallTestHeard, CallTestQuestion, CallTestTry, Program, Species
from surveys.sound.hearing_errors import Written
from surveys.sound.scoring import Count
from surveys.trends.estimates import Estimate
from surveys.trends.numerics.intervals import wilson


@dataclass(frozen=True, kw_only=True)
class Share:
    """A count with its share, from 0 to 1, and the Wilson interval of it."""

    count: Count
    estimate: Estimate
    reached: bool


@dataclass(frozen=True, kw_only=True)
class Result:
    """`index` counts the calls that were named rightly and whose index is known."""

    taken: CallTestTry
    overall: Share
    index: Share
    species: list[tuple[Species, Share]]
    missed: int
    false: int


@dataclass(frozen=True, kw_only=True)
class AnsweredQuestion:
    stored: CallTestQuestion
    heard: list[CallTestHeard]


def result_of(taken: CallTestTry) -> Result:
    """Of a try that is finished."""
    test, found = taken.test, score_of(taken)
    species = Species.objects.filter(code__in=test.species).order_by("common_name")
    return Result(
        taken=taken,
        overall=_share(found.overall, test.pass_overall),
        index=_share(found.index, 0),
        species=[
            (one, _share(found.by_species.get(one.code, Count()), test.pass_species))
            for one in species
        ],
        missed=found.missed,
        false=found.false,
    )


def questions_of(taken: CallTestTry) -> list[AnsweredQuestion]:
    questions = taken.questions.prefetch_related("heard__species")
    return [AnsweredQuestion(stored=one, heard=list(one.heard.all())) for one in questions]


def calls_in_tests(program: Program, person: int) -> list[Written]:
    """By code of species, what called in the finished tests of a person, and what they named."""
    heard = CallTestHeard.objects.filter(
        question__taken__test__program=program,
        question__taken__person=person,
        question__taken__finished_at__isnull=False,
    )
    return [
        Written(
            species=one.species.code,
            there=one.was_there,
            heard_index=one.index_there if one.index_named else None,
            # Named without an index is named all the same.
            index=(one.index_named or 1) if one.was_named else None,
        )
        for one in heard.select_related("species")
    ]


def tries_of(member: Membership) -> QuerySet[CallTestTry]:
    """The member's own, the latest first."""
    return _tries(member).filter(person=member.person_id).order_by("-begun_at")


def tries_of_all(member: Membership) -> Sequence[CallTestTry]:
    """Those of the program, by name, so that nobody is ranked."""
    require(member, Permission.MANAGE)
    return list(_tries(member).order_by("person__name", "person", "-begun_at"))


def _tries(member: Membership) -> QuerySet[CallTestTry]:
    tries = CallTestTry.objects.filter(test__program=member.program_id)
    return tries.select_related("test", "person")


def _share(count: Count, mark: int) -> Share:
    return Share(count=count, estimate=wilson(count.right, count.of), reached=count.reaches(mark))
