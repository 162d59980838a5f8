"""Mail about accounts: queued, sealed, and the same for addresses that nobody has."""

import re

import pytest
from django.conf import settings
from django.core import mail
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from procrastinate.contrib.django.models import ProcrastinateJob

from tests.support.builders import PASSWORD, make_person
from tests.support.mail import delivered

pytestmark = pytest.mark.django_db

KNOWN, UNKNOWN = "robin@example.org", "nobody@example.org"
NEW = "another-quiet-evening"


@pytest.fixture(autouse=True)
def robin(db):
    return make_person(email=KNOWN)


def ask(email):
    return Client().post("/accounts/password/reset/", {"email": email})


def queued():
    return list(ProcrastinateJob.objects.filter(queue_name="mail").order_by("pk"))


def test_no_request_waits_for_the_mail_server():
    before = mail.outbox[:]
    ask(KNOWN)
    assert mail.outbox == before
    (letter,) = delivered()
    assert letter.to == [KNOWN]
    assert "/accounts/password/reset/key/" in letter.body


def test_neither_address_nor_link_can_be_read_in_the_queue():
    ask(KNOWN)
    (job,) = queued()
    kept = str(job.args)
    (letter,) = delivered()
    for secret in (KNOWN, re.search(r"/key/(\S+)/", letter.body)[1], letter.subject):
        assert secret in f"{letter.to} {letter.subject} {letter.body}"
        assert secret not in kept


def test_an_unknown_address_gets_the_same_answer_and_no_mail():
    answers = {email: ask(email) for email in (KNOWN, UNKNOWN)}
    known, unknown = answers.values()
    assert (known.status_code, known.url) == (unknown.status_code, unknown.url)
    assert len(queued()) == 2
    assert [letter.to for letter in delivered()] == [[KNOWN]]


def test_an_unknown_address_costs_the_same_work():
    """Time cannot be tested; what takes it can."""
    ask(KNOWN)
    statements = {}
    for email in (KNOWN, UNKNOWN):
        with CaptureQueriesContext(connection) as queries:
            ask(email)
        statements[email] = [re.sub(r"'[^']*'|\d+", "?", query["sql"]) for query in queries]
    assert len(statements[KNOWN]) > 0
    assert statements[KNOWN] == statements[UNKNOWN]


def test_any_other_letter_is_sealed_and_queued_as_well():
    client = Client()
    client.post("/accounts/login/", {"login": KNOWN, "password": PASSWORD})
    new = {"oldpassword": PASSWORD, "password1": NEW, "password2": NEW}
    client.post("/accounts/password/change/", new)
    assert mail.outbox == []
    assert "password" not in str([job.args for job in queued()])
    assert ["password was changed" in letter.subject for letter in delivered()] == [True]


def test_asking_often_is_refused_the_same_way_for_every_address(settings):
    settings.ACCOUNT_RATE_LIMITS = {"reset_password": "2/h/key"}
    for email in (KNOWN, UNKNOWN):
        assert [ask(email).status_code for _ in range(3)] == [302, 302, 429]
    assert len(delivered()) == 2


def test_a_mail_server_that_hangs_is_given_up():
    assert 0 < settings.EMAIL_TIMEOUT <= 30
