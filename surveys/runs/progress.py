"""Reporting the progress of a run."""

from __future__ import annotations

import time
from collections.abc import Callable
from types import TracebackType

from django.db import connection
from django.utils import timezone

from surveys.models import BackgroundRun, RunState

# Called with the current step in words, how many items are done, and how many there are.
ReportProgress = Callable[[str, int, int], None]

_PAUSE_S = 0.5
_STEP_LENGTH = BackgroundRun._meta.get_field("step").max_length


def no_report(step: str, done: int, total: int) -> None:
    """For work that nobody watches."""


class Steps:
    """Counts steps as they begin, for work whose steps come one after another."""

    def __init__(self, report: ReportProgress, total: int) -> None:
        self._report = report
        self.total = total
        self._begun = 0

    def begin(self, step: str) -> None:
        self._report(step, self._begun, self.total)
        self._begun += 1


class Progress:
    """Reports over a connection of its own, so that it is seen before the transaction of the work
    ends. Usable as a `ReportProgress`; writes at most once every half second, and for each new
    step."""

    def __init__(self, run: BackgroundRun) -> None:
        self._run = run
        self._connection = connection.copy()
        self._last_step = ""
        self._last_at = 0.0

    def __enter__(self) -> Progress:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._connection.close()

    def __call__(self, step: str, done: int, total: int) -> None:
        now = time.monotonic()
        if step == self._last_step and now - self._last_at < _PAUSE_S:
            return
        self._last_step, self._last_at = step, now
        with self._connection.cursor() as cursor:
            cursor.execute(
                "UPDATE surveys_backgroundrun SET step = %s, done = %s, total = %s, "
                "reported_at = %s WHERE id = %s AND state = %s AND attempts = %s",
                [
                    step[:_STEP_LENGTH],
                    done,
                    total,
                    timezone.now(),
                    self._run.pk,
                    RunState.RUNNING,
                    self._run.attempts,
                ],
            )
