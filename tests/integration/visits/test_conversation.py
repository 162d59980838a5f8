"""What observer and coordinators write to each other about a visit: who reads it, who gets mail."""

import pytest
from django.core import mail
from procrastinate.contrib.django.models import ProcrastinateJob

from accounts.models import Role
from surveys.models import ReviewStep, Step
from surveys.visits.conversation import conversation, write_message
from surveys.visits.exceptions import NotYours, ReasonMissing, VisitError
from surveys.visits.notices import mail_message
from surveys.visits.verbs import send_back
from tests.support.builders import make_checklist, make_member, make_route
from tests.support.sheets import make_draft, make_submitted

SENT: set[int] = set()


@pytest.fixture
def route(program):
    make_checklist(program, "Pseudacris crucifer")
    return make_route(program)


@pytest.fixture
def sent_back(observer, coordinator, route):
    visit = make_submitted(observer, route)
    return send_back(coordinator, visit.pk, note="Was there fog?", revision=visit.revision)


def recipients() -> list[str]:
    """Of the letters about messages that wait in the queue; they are sent."""
    for job in ProcrastinateJob.objects.filter(task_name="visits.mail_message").order_by("pk"):
        if job.pk not in SENT:
            mail_message(**job.args)
            SENT.add(job.pk)
    return sorted(address for letter in mail.outbox for address in letter.to)


def test_both_sides_see_the_thread_and_get_mail(client_for, observer, coordinator, sent_back):
    """Whoever reviewed the visit last gets the answer; the revision stays, so no phone stumbles."""
    other = make_member(observer.program, Role.COORDINATOR)
    slug = observer.program.slug
    answer = client_for(observer).post(
        f"/{slug}/visits/{sent_back.pk}/message", {"text": "No, only mist.", "then": "sheet"}
    )
    assert answer.url == f"/{slug}/sheets/{sent_back.pk}/#conversation"
    assert recipients() == [coordinator.person.email]
    assert "No, only mist." in mail.outbox[0].body
    assert f"/{slug}/review/{sent_back.pk}/#conversation" in mail.outbox[0].body
    mail.outbox.clear()
    write_message(other, sent_back.pk, "Then it counts.")
    assert recipients() == [observer.person.email]
    assert f"/{slug}/visits/{sent_back.pk}/#conversation" in mail.outbox[0].body
    for member, page in ((observer, "sheets"), (coordinator, "review")):
        shown = client_for(member).get(f"/{slug}/{page}/{sent_back.pk}/").content.decode()
        places = [
            shown.index(text) for text in ("Was there fog?", "No, only mist.", "Then it counts.")
        ]
        assert places == sorted(places)
    revision = sent_back.revision
    sent_back.refresh_from_db()
    assert sent_back.revision == revision
    assert conversation(sent_back).count() == 3


def test_all_coordinators_get_mail_while_nobody_has_reviewed(observer, coordinator, route):
    other = make_member(observer.program, Role.COORDINATOR)
    visit = make_submitted(observer, route)
    write_message(observer, visit.pk, "Stop 3 is fenced in.")
    assert recipients() == sorted([coordinator.person.email, other.person.email])


def test_others_neither_read_nor_write(client_for, observer, coordinator, program, route):
    visit = make_submitted(observer, route)
    write_message(observer, visit.pk, "Stop 3 is fenced in.")
    other = make_member(program)
    with pytest.raises(NotYours):
        write_message(other, visit.pk, "Hello.")
    page = client_for(other).get(f"/{program.slug}/visits/{visit.pk}/")
    records = client_for(other).get(f"/api/v1/{program.slug}/visits/{visit.pk}/records/")
    assert (page.status_code, records.status_code) == (200, 200)
    for answer in (page, records):
        assert "fenced in" not in answer.content.decode()


@pytest.mark.parametrize(
    ("text", "error", "words"),
    [(" ", ReasonMissing, "Write a message first"), ("x" * 4_001, VisitError, "Shorten it")],
)
def test_what_cannot_be_sent_is_kept_in_the_box(
    client_for, observer, route, coordinator, text, error, words
):
    visit = make_submitted(observer, route)
    with pytest.raises(error, match=words):
        write_message(observer, visit.pk, text)
    url = f"/{observer.program.slug}/visits/{visit.pk}/message"
    shown = client_for(observer).post(url, {"text": text}, follow=True).content.decode()
    assert words in shown
    assert (text[:1_000] in shown) or not text.strip()
    assert not ReviewStep.objects.filter(step=Step.MESSAGE).exists()


def test_what_the_database_cannot_store_is_replaced(observer, route):
    visit = make_submitted(observer, route)
    assert write_message(observer, visit.pk, " wet\0feet\ud800 ").note == "wet\ufffdfeet\ufffd"


def test_a_draft_has_no_messages(observer, route):
    draft = make_draft(observer, route)
    with pytest.raises(VisitError, match="Submit the visit first"):
        write_message(observer, draft.pk, "Hello.")
