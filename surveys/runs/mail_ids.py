"""A job that is begun again sends its messages under the same Message-ID as the first time.

A worker that is killed after the mail server took a message and before the job was ended sends it
once more. By the Message-ID (RFC 5322, section 3.6.4) mail programs know that it is the same one,
and most show it once.
"""

import hashlib
import json
from collections.abc import Callable, Sequence
from contextvars import ContextVar
from dataclasses import dataclass
from typing import Any

from django.core.mail import EmailMessage
from django.core.mail.backends import filebased, smtp
from django.core.mail.utils import DNS_NAME
from procrastinate import JobContext


@dataclass
class _Sending:
    """The job at work in this thread, and how many messages it has sent."""

    job: str
    sent: int = 0


_SENDING: ContextVar[_Sending | None] = ContextVar("sending", default=None)


def with_ids_of_the_job(call_next: Callable[[], Any], context: JobContext, worker: object) -> Any:
    """Middleware of the tasks of a worker."""
    job = context.job
    facts = json.dumps([job.id, job.task_name, job.task_kwargs], sort_keys=True)
    token = _SENDING.set(_Sending(facts))
    try:
        return call_next()
    finally:
        _SENDING.reset(token)


def _give_ids(messages: Sequence[EmailMessage]) -> None:
    sending = _SENDING.get()
    if sending is None:
        return
    for message in messages:
        sending.sent += 1
        facts = json.dumps([sending.job, sending.sent, message.recipients()])
        # Half of it is plenty, and fits a line.
        digest = hashlib.sha256(facts.encode()).hexdigest()[:32]
        message.extra_headers.setdefault("Message-ID", f"<{digest}@{DNS_NAME}>")


class _WithIds:
    def send_messages(self, email_messages: Sequence[EmailMessage]) -> int:
        _give_ids(email_messages)
        return super().send_messages(email_messages)


class SmtpBackend(_WithIds, smtp.EmailBackend):
    """For real use."""


class FileBackend(_WithIds, filebased.EmailBackend):
    """For the demo."""
