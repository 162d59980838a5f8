"""Large imports in the worker."""

import logging

import pghistory
from django.core.exceptions import PermissionDenied
from procrastinate import JobContext, RetryStrategy
from procrastinate.contrib.django import app

from accounts.models import Membership
from surveys.importing.preview import plain_preview
from surveys.importing.problems import ImportRefusedError
from surveys.importing.runs import (
    QUEUE,
    TASK,
    UNDER_WAY,
    Progress,
    fail,
    finish,
)
from surveys.importing.uploads import (
    commit_upload,
    open_upload,
    preview_upload,
)
from surveys.models import (
    ImportRun,
    ImportWork,
    RunState,
)

log = logging.getLogger(__name__)
RETRIES = 2


@app.task(
    name=TASK,
    queue=QUEUE,
    pass_context=True,
    retry=RetryStrategy(max_attempts=RETRIES, wait=5),
)
def carry_out(context: JobContext, *, run_id: int) -> None:
    """Check or import the file of a run. What stands in its way is said by the run itself."""
    runs = ImportRun.objects.select_related("upload__program", "asked_by").defer("upload__content")
    run = runs.filter(pk=run_id, state__in=UNDER_WAY).first()
    if run is None:
        return
    try:
        with pghistory.context(user=run.asked_by_id), Progress(run) as progress:
            _carry_out(run, progress)
    except ImportRefusedError as refusal:
        fail(run, str(refusal), RunState.REFUSED)
    except PermissionDenied:
        fail(run, "Whoever asked for this no longer coordinates the program.", RunState.REFUSED)
    except Exception:
        log.exception("Import run %s broke off", run_id)
        if context.job.attempts >= RETRIES:
            fail(
                run,
                f"It broke off, in {RETRIES + 1} tries. Nothing was imported. Tell whoever runs "
                "this site; the log of its worker says why.",
            )
        raise


def _carry_out(run: ImportRun, progress: Progress) -> None:
    """The import and the end of its run are one transaction, so that a worker that is killed
    leaves nothing half-imported, and the next one begins anew."""
    members = Membership.objects.select_related("program", "person")
    member = members.filter(program=run.upload.program, person=run.asked_by, active=True).first()
    if member is None:
        raise PermissionDenied
    progress.say("Reading the file", 0, 0)
    upload = open_upload(member, run.upload_id)
    if run.work == ImportWork.CHECK:
        finish(run, found=plain_preview(preview_upload(member, upload, say=progress.say)))
    else:
        commit_upload(member, upload, say=progress.say, end=lambda: finish(run))


@app.periodic(cron="* * * * *")
@app.task(
    name="importing.take_up_stalled",
    queue=QUEUE,
    queueing_lock="take up stalled imports",
    pass_context=True,
)
async def take_up_stalled(context: JobContext, timestamp: int) -> None:
    """Imports whose worker was killed, and says no more that it is alive, begin again."""
    jobs = context.app.job_manager
    for job in await jobs.get_stalled_jobs(task_name=TASK):
        await jobs.retry_job(job)


@app.periodic(cron="20 4 * * *")
@app.task(
    name="importing.forget_old_jobs",
    queue=QUEUE,
    queueing_lock="forget old jobs of imports",
    pass_context=True,
)
async def forget_old_jobs(context: JobContext, timestamp: int) -> None:
    """Looking for stalled jobs is a job of its own every minute; a week of them is kept."""
    await context.app.job_manager.delete_old_jobs(nb_hours=7 * 24, queue=QUEUE)
