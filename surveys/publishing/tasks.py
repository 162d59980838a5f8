"""Publications in the worker."""

import logging

from procrastinate import JobContext, RetryStrategy
from procrastinate.contrib.django import app

from surveys.models import (
    PublishingRun,
    RunState,
)
from surveys.publishing.build import build
from surveys.publishing.exceptions import PublishingError
from surveys.publishing.publish import (
    QUEUE,
    TASK,
    fail,
)

log = logging.getLogger(__name__)
RETRIES = 2


@app.task(
    name=TASK,
    queue=QUEUE,
    pass_context=True,
    retry=RetryStrategy(max_attempts=RETRIES, wait=5),
)
def publish(context: JobContext, *, run_id: int, site_url: str) -> None:
    """Make the publication of a run. What stands in its way is said by the run itself."""
    run = PublishingRun.objects.select_related("program", "asked_by").filter(pk=run_id).first()
    if run is None:
        return
    try:
        build(run, site_url=site_url)
    except PublishingError as refusal:
        fail(run, str(refusal), RunState.REFUSED)
    except Exception:
        log.exception("No publication from run %s", run_id)
        if context.job.attempts >= RETRIES:
            fail(
                run,
                f"The files could not be made, in {RETRIES + 1} tries. Nothing was published. Tell "
                "whoever runs this site; the log of its worker says why. Then publish again.",
            )
        raise


@app.periodic(cron="* * * * *")
@app.task(
    name="publishing.take_up_stalled",
    queue=QUEUE,
    queueing_lock="take up stalled publications",
    pass_context=True,
)
async def take_up_stalled(context: JobContext, timestamp: int) -> None:
    """Publications whose worker was killed, and says no more that it is alive, begin again."""
    jobs = context.app.job_manager
    for job in await jobs.get_stalled_jobs(task_name=TASK):
        await jobs.retry_job(job)


@app.periodic(cron="10 4 * * *")
@app.task(
    name="publishing.forget_old_jobs",
    queue=QUEUE,
    queueing_lock="forget old jobs",
    pass_context=True,
)
async def forget_old_jobs(context: JobContext, timestamp: int) -> None:
    """Looking for stalled jobs is a job of its own every minute; a week of them is kept."""
    await context.app.job_manager.delete_old_jobs(nb_hours=7 * 24, queue=QUEUE)
