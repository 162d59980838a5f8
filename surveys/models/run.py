"""Long work in the background: imports, publications, fits, simulations."""

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy

from surveys.models.program import Program


class RunKind(models.TextChoices):
    """What is done. `surveys.runs.kinds` says how: queue, lock, tries, words."""

    READ_IMPORT = "read_import", gettext_lazy("Reading")
    CHECK_IMPORT = "check_import", gettext_lazy("Checking")
    IMPORT = "import", gettext_lazy("Importing")
    UNDO_IMPORT = "undo_import", gettext_lazy("Undoing")
    PUBLISH = "publish", gettext_lazy("Publishing")
    FIT = "fit", gettext_lazy("Fitting")
    POWER = "power", gettext_lazy("Simulating")


class RunState(models.TextChoices):
    """`refused`: the data stand in the way, so trying again is no use until they change."""

    QUEUED = "queued", gettext_lazy("Queued")
    RUNNING = "running", gettext_lazy("Running")
    DONE = "done", gettext_lazy("Done")
    REFUSED = "refused", gettext_lazy("Refused")
    FAILED = "failed", gettext_lazy("Failed")


UNDER_WAY = (RunState.QUEUED, RunState.RUNNING)
_UNDER_WAY = Q(state__in=UNDER_WAY)


class BackgroundRun(models.Model):
    """Something that the worker was asked to do, how far it has come, and how it ended.

    `subject` names what of the program it is about, such as “publication 2024”: one run about it
    is under way at a time. `options` hold what was asked, `result` what came of it; their keys
    belong to the kind. `problem` is a sentence. `asked_by` is empty where data asked for it.

    `attempts` counts how often a worker began it. Only the worker of the latest attempt may
    report, finish or fail it (`surveys.runs.work`).
    """

    kind = models.CharField(max_length=12, choices=RunKind.choices)
    program = models.ForeignKey(Program, on_delete=models.CASCADE, related_name="runs")
    subject = models.CharField(max_length=80)
    options = models.JSONField(default=dict)
    asked_by = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="+",
    )
    asked_at = models.DateTimeField(auto_now_add=True)
    job_id = models.BigIntegerField(null=True, blank=True)
    state = models.CharField(max_length=7, choices=RunState.choices, default=RunState.QUEUED)
    step = models.CharField(max_length=120, blank=True)
    done = models.PositiveIntegerField(default=0)
    total = models.PositiveIntegerField(default=0)
    result = models.JSONField(null=True, blank=True)
    problem = models.TextField(blank=True)
    attempts = models.PositiveSmallIntegerField(default=0)
    started_at = models.DateTimeField(null=True, blank=True)
    reported_at = models.DateTimeField(null=True, blank=True)
    finished_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-pk"]
        indexes = [models.Index(fields=["program", "subject"], name="run_subject")]
        constraints = [
            models.CheckConstraint(condition=Q(kind__in=RunKind.values), name="run_kind_known"),
            models.CheckConstraint(condition=Q(state__in=RunState.values), name="run_state_known"),
            models.CheckConstraint(
                condition=(_UNDER_WAY & Q(finished_at=None))
                | (~_UNDER_WAY & Q(finished_at__isnull=False)),
                name="run_finished_when_over",
            ),
            models.CheckConstraint(
                condition=~Q(kind=RunKind.PUBLISH, state=RunState.DONE)
                | Q(result__isnull=False, result__has_key="version"),
                name="run_published_has_version",
            ),
            models.UniqueConstraint(
                fields=["program", "subject"],
                condition=_UNDER_WAY & ~Q(kind=RunKind.FIT),
                name="run_one_at_a_time",
            ),
            # Data that change during a fit ask for another one after it.
            models.UniqueConstraint(
                fields=["program", "subject"],
                condition=Q(kind=RunKind.FIT, state=RunState.QUEUED),
                name="run_one_fit_queued",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} ({self.subject}), {self.state}"

    @property
    def under_way(self) -> bool:
        return self.state in UNDER_WAY
