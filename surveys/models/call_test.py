"""Call-identification tests that a program sets, and the tries of its members."""

import uuid

from django.conf import settings
from django.contrib.postgres.fields import ArrayField
from django.db import models
from django.db.models import F, Q
from django.db.models.functions import Now

from surveys.models.history import tracked
from surveys.models.practice import HeardInQuestion, heard_constraints
from surveys.models.program import Program


@tracked
class CallTest(models.Model):
    """A test as a coordinator set it. It never changes: a new one closes the one before.

    `species` are codes. The marks are percent: `pass_overall` of all calls, `pass_species` of those
    of each species. Who passes has a valid call-identification test for `valid_months`.
    """

    program = models.ForeignKey(Program, on_delete=models.PROTECT, related_name="call_tests")
    species = ArrayField(models.SlugField(max_length=80))
    questions = models.SmallIntegerField()
    pass_overall = models.SmallIntegerField()
    pass_species = models.SmallIntegerField()
    valid_months = models.SmallIntegerField()
    tries_allowed = models.SmallIntegerField()
    set_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    set_at = models.DateTimeField(db_default=Now())
    closed_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["program", "-set_at", "-pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["program"], condition=Q(closed_at=None), name="calltest_one_open"
            ),
            models.CheckConstraint(
                condition=Q(
                    questions__range=(1, 200),
                    pass_overall__range=(0, 100),
                    pass_species__range=(0, 100),
                    valid_months__range=(1, 120),
                    tries_allowed__range=(1, 100),
                )
                & ~Q(species=[]),
                name="calltest_numbers",
            ),
        ]


@tracked
class CallTestTry(models.Model):
    """A member takes a test. `passed` is null until the last question is answered."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4)
    test = models.ForeignKey(CallTest, on_delete=models.PROTECT, related_name="tries")
    person = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="call_test_tries"
    )
    begun_at = models.DateTimeField()
    finished_at = models.DateTimeField(null=True, blank=True)
    passed = models.BooleanField(null=True, blank=True)
    # Until when the test is valid, if it was passed; null also where it does not expire.
    valid_until = models.DateField(null=True, blank=True)

    class Meta:
        ordering = ["test", "person", "begun_at"]
        constraints = [
            models.UniqueConstraint(
                fields=["test", "person"],
                condition=Q(finished_at=None),
                name="calltesttry_one_under_way",
            ),
            models.CheckConstraint(
                condition=Q(finished_at=None, passed=None)
                | Q(finished_at__gte=F("begun_at"), passed__isnull=False),
                name="calltesttry_passed_once_finished",
            ),
            models.CheckConstraint(
                condition=Q(valid_until=None) | Q(passed=True), name="calltesttry_valid_once_passed"
            ),
        ]


@tracked
class CallTestQuestion(models.Model):
    """A question as it was asked: `question` as `surveys.sound.questions.Question.plain` has it,
    `calls` those that its sound was made of, so that it can be played again."""

    taken = models.ForeignKey(CallTestTry, on_delete=models.CASCADE, related_name="questions")
    number = models.SmallIntegerField()
    question = models.JSONField()
    calls = models.JSONField()
    answered_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["taken", "number"]
        constraints = [
            models.UniqueConstraint(fields=["taken", "number"], name="calltestquestion_once")
        ]


@tracked
class CallTestHeard(HeardInQuestion):
    """Species of the test that neither called nor were named have no row."""

    question = models.ForeignKey(CallTestQuestion, on_delete=models.CASCADE, related_name="heard")

    class Meta:
        ordering = ["question", "species"]
        constraints = [
            models.UniqueConstraint(fields=["question", "species"], name="calltestheard_once"),
            *heard_constraints("calltestheard"),
        ]
