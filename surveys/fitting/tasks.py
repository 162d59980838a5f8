"""Fits and simulations in the worker."""

from procrastinate.contrib.django import app

from surveys.fitting.power import simulate_study, study_of
from surveys.fitting.refit import FittingFailedError, refit
from surveys.fitting.stamps import data_stamp
from surveys.language import said
from surveys.models import BackgroundRun, Program, RunKind
from surveys.runs.enqueue import another_is_due
from surveys.runs.progress import Progress
from surveys.runs.queues import SHORT
from surveys.runs.work import carries_out, fail, finish, note
from surveys.visits.refitting import refit_trends


@carries_out(RunKind.FIT)
def refit_program(run: BackgroundRun, report: Progress) -> None:
    """Bring the stored fits of a program up to date. Each is stored as it is made, so a run that
    is begun again makes only what is left."""
    # Before the data are read: a change in between leaves the results marked as out of date.
    stamp = data_stamp(run.program)
    note(run, {"data_stamp": stamp})
    try:
        refitted = refit(
            run.program, stamp=stamp, report=report, superseded=lambda: another_is_due(run)
        )
    except FittingFailedError as error:
        fail(run, said("{problem}. The others are up to date.", problem=error))
        raise
    finish(run, {"data_stamp": stamp, "refitted": refitted.refitted})


@carries_out(RunKind.POWER)
def simulate_power(run: BackgroundRun, report: Progress) -> None:
    """Simulate what a coordinator asked."""
    simulate_study(study_of(run), run, report=report)


@app.periodic(cron="40 3 * * *")
@app.task(name="fitting.check_every_fit", queue=SHORT, queueing_lock="fits of every program")
def check_every_fit(timestamp: int) -> None:
    """Every night: compare all stored fits with their data, whatever changed them."""
    for pk in Program.objects.values_list("pk", flat=True):
        refit_trends(pk, after_s=0)
