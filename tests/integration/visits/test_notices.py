"""Mail to the observer, by a real worker on a real queue."""

import pytest
from django.core import mail
from django.db import connection, transaction
from procrastinate.contrib.django import app
from procrastinate.contrib.django.models import ProcrastinateJob

from surveys.visits import verbs
from tests.support.builders import make_route
from tests.support.sheets import make_submitted

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture(autouse=True)
def empty_queue(transactional_db):
    """The queue's tables are not Django's, so no test clears them by itself."""
    with connection.cursor() as cursor:
        cursor.execute("TRUNCATE procrastinate_jobs CASCADE")


def run_worker():
    """Work off what is queued, then stop."""
    connector = app.connector.get_worker_connector()
    with app.replace_connector(connector) as worker:
        worker.run_worker(
            queues=["mail"], wait=False, install_signal_handlers=False, listen_notify=False
        )


@pytest.fixture
def visit(program, observer):
    program.contact_email = "surveys@example.org"
    program.save()
    return make_submitted(observer, make_route(program, code="R07"))


def test_a_visit_sent_back_is_mailed_to_its_observer(program, observer, coordinator, visit):
    verbs.send_back(
        coordinator,
        visit.pk,
        note="Stop 2 has no end.\nDo you remember it?",
        revision=visit.revision,
        site_url="https://surveys.example.org/",
    )
    assert mail.outbox == []
    run_worker()
    (letter,) = mail.outbox
    assert letter.to == [observer.person.email]
    assert letter.subject == f"{program.name}: please check your visit of 15 April 2024"
    assert "    Stop 2 has no end.\n    Do you remember it?" in letter.body
    assert f"https://surveys.example.org/{program.slug}/sheets/{visit.pk}/" in letter.body
    assert "Write to surveys@example.org." in letter.body
    assert ProcrastinateJob.objects.get(queue_name="mail").status == "succeeded"


def test_no_mail_when_the_change_is_rolled_back(coordinator, visit):
    def change_of_mind():
        with transaction.atomic():
            verbs.send_back(coordinator, visit.pk, note="Why?", revision=visit.revision)
            raise InterruptedError

    with pytest.raises(InterruptedError):
        change_of_mind()
    assert not ProcrastinateJob.objects.filter(queue_name="mail").exists()


def test_other_review_steps_send_no_mail(coordinator, visit):
    accepted = verbs.accept(coordinator, visit.pk, revision=visit.revision)
    verbs.reopen(coordinator, visit.pk, note="Look again.", revision=accepted.revision)
    assert not ProcrastinateJob.objects.filter(queue_name="mail").exists()
