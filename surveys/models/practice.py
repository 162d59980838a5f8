"""Practice with calls: what a learner was asked and what they answered, for themselves alone."""

import uuid

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.db.models.functions import Now

from surveys.models.program import Program
from surveys.models.species import Species


class PracticeAnswer(models.Model):
    """A question that a learner answered. `question` holds what was played, as
    `surveys.sound.questions.Question.plain` has it."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4)
    program = models.ForeignKey(Program, on_delete=models.CASCADE, related_name="+")
    person = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="practice_answers"
    )
    question = models.JSONField()
    answered_at = models.DateTimeField(db_default=Now())

    class Meta:
        ordering = ["answered_at", "pk"]
        indexes = [
            models.Index(fields=["program", "person", "-answered_at"], name="practiceanswer_latest")
        ]


class HeardInQuestion(models.Model):
    """A species that called in a question, or that was named in its answer, or both. An index is
    null where it is not known or was not asked."""

    species = models.ForeignKey(Species, on_delete=models.PROTECT, related_name="+")
    was_there = models.BooleanField()
    was_named = models.BooleanField()
    index_there = models.SmallIntegerField(null=True, blank=True)
    index_named = models.SmallIntegerField(null=True, blank=True)

    class Meta:
        abstract = True


def heard_constraints(name: str) -> list[models.CheckConstraint]:
    """For the table `name`: an index belongs to a species that called, or that was named."""

    def index_of(verb: str) -> Q:
        has = Q(**{f"index_{verb}__isnull": True})
        return has | Q(**{f"was_{verb}": True, f"index_{verb}__range": (1, 3)})

    return [
        models.CheckConstraint(
            condition=Q(was_there=True) | Q(was_named=True), name=f"{name}_there_or_named"
        ),
        models.CheckConstraint(
            condition=index_of("there") & index_of("named"), name=f"{name}_indexes"
        ),
    ]


class PracticeHeard(HeardInQuestion):
    answer = models.ForeignKey(PracticeAnswer, on_delete=models.CASCADE, related_name="heard")

    class Meta:
        ordering = ["answer", "species"]
        constraints = [
            models.UniqueConstraint(fields=["answer", "species"], name="practiceheard_once"),
            *heard_constraints("practiceheard"),
        ]
