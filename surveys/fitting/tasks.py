"""Fits in the worker."""

from procrastinate.contrib.django import app

from surveys.fitting.power import WORK_OUT_POWER, work_out
from surveys.fitting.refit import refit
from surveys.models import PowerStudy, Program
from surveys.visits.refitting import QUEUE, REFIT, refit_trends


@app.task(name=REFIT, queue=QUEUE)
def refit_program(*, program_id: int) -> None:
    """Bring the stored fits of a program up to date."""
    program = Program.objects.filter(pk=program_id).first()
    if program is not None:
        refit(program)


@app.task(name=WORK_OUT_POWER, queue=QUEUE)
def work_out_power(*, study_id: int) -> None:
    """Simulate what a coordinator asked."""
    study = PowerStudy.objects.filter(pk=study_id, finished_at=None).first()
    if study is not None:
        work_out(study)


@app.periodic(cron="40 3 * * *")
@app.task(name="fitting.look_over", queue=QUEUE, queueing_lock="fits of every program")
def look_over(timestamp: int) -> None:
    """Every night: compare all stored fits with their data, whatever changed them."""
    for pk in Program.objects.values_list("pk", flat=True):
        refit_trends(pk, after_s=0)
