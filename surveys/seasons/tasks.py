"""Keeping the counts of the yearly table up to date, in the worker."""

import logging

from procrastinate.contrib.django import app

from surveys.models import Program, StaleYearCount
from surveys.runs.queues import SHORT, SIMULATIONS
from surveys.seasons.year_counts import count_again, mark_wrong_counts

log = logging.getLogger(__name__)


@app.periodic(cron="* * * * *")
@app.task(name="seasons.count_again", queue=SHORT, queueing_lock="counting route years")
def count_what_changed(timestamp: int) -> None:
    """Every minute: until then, what has changed is read from the calls."""
    for program_id in StaleYearCount.objects.values_list("program_id", flat=True).distinct():
        count_again(program_id)


@app.periodic(cron="50 3 * * *")
@app.task(name="seasons.check_counts", queue=SIMULATIONS, queueing_lock="checking route years")
def check_counts(timestamp: int) -> None:
    """Every night: counts that differ from the calls are an error in the triggers. They are mended
    all the same."""
    for program_id in Program.objects.values_list("pk", flat=True):
        wrong = mark_wrong_counts(program_id)
        if wrong:
            log.error("Program %s: counts of %d route years were wrong.", program_id, wrong)
