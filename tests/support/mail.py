"""The mail queue, worked through within the test."""

from django.core import mail
from django.core.mail import EmailMessage
from procrastinate.contrib.django import app
from procrastinate.contrib.django.models import ProcrastinateJob

from surveys.runs.queues import MAIL


def delivered() -> list[EmailMessage]:
    """Do what waits in the mail queue, once; return what has come out since the last call."""
    waiting = ProcrastinateJob.objects.filter(queue_name=MAIL, status="todo").order_by("pk")
    for job in waiting:
        app.tasks[job.task_name](**job.args)
    ProcrastinateJob.objects.filter(pk__in=[job.pk for job in waiting]).delete()
    messages, mail.outbox[:] = list(mail.outbox), []
    return messages
