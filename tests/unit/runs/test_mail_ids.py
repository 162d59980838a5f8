"""Messages of a job that is begun again have the Message-IDs of the first time."""

from email import message_from_bytes

import pytest
from django.core.mail import EmailMessage, get_connection
from procrastinate import JobContext
from procrastinate.jobs import Job

from deploy.settings import common
from surveys.runs.mail_ids import SmtpBackend, with_ids_of_the_job


def send(folder, *recipients):
    connection = get_connection("surveys.runs.mail_ids.FileBackend", file_path=str(folder))
    for recipient in recipients:
        message = EmailMessage("Subject", "Text", "a@example.org", [recipient])
        message.connection = connection
        message.send()


def ids(folder):
    parts = [
        part
        for file in sorted(folder.iterdir())
        for part in file.read_bytes().split(b"-" * 79 + b"\n")
        if part.strip()
    ]
    return [message_from_bytes(part)["Message-ID"] for part in parts]


@pytest.fixture
def sent(tmp_path):
    """The Message-IDs of what a job sends."""
    folders = iter(range(100))

    def send_as(number, *recipients, **kwargs):
        folder = tmp_path / str(next(folders))
        job = Job(
            id=number,
            queue="mail",
            lock=None,
            queueing_lock=None,
            task_name="a",
            task_kwargs=kwargs,
        )
        context = JobContext(job=job, app=None, abort_reason=lambda: None, start_timestamp=0)
        with_ids_of_the_job(lambda: send(folder, *recipients), context, None)
        return ids(folder)

    return send_as


def test_the_same_job_sends_the_same_ids_and_no_two_messages_share_one(sent):
    first = sent(1, "one@example.org", "two@example.org", "two@example.org", step=4)
    assert sent(1, "one@example.org", "two@example.org", "two@example.org", step=4) == first
    assert len(set(first)) == 3
    assert all(one.startswith("<") and one.endswith(">") and "@" in one for one in first)


def test_other_jobs_and_other_recipients_have_others(sent):
    ids_of_all = {
        *sent(1, "one@example.org", step=4),
        *sent(2, "one@example.org", step=4),
        *sent(1, "one@example.org", step=5),
        *sent(1, "two@example.org", step=4),
    }
    assert len(ids_of_all) == 4


def test_what_no_job_sends_has_an_id_of_its_own(tmp_path):
    send(tmp_path, "one@example.org", "one@example.org")
    assert len(set(ids(tmp_path))) == 2


def test_the_mail_of_real_use_goes_by_it():
    assert f"{SmtpBackend.__module__}.{SmtpBackend.__name__}" == common.EMAIL_BACKEND
