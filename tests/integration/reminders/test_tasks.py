"""Reminders: what is due is mailed once, by day, to whoever wants it."""

import datetime as dt

import pytest
from django.core import mail
from django.utils import timezone
from procrastinate.contrib.django.models import ProcrastinateJob

from accounts.models import Membership
from surveys.models import (
    Assignment,
    ReminderKind,
    ReminderSetting,
    ReviewStep,
    SentReminder,
    Step,
    VisitState,
)
from surveys.reminders import tasks
from surveys.reminders.stopping import find_stop_link, stop, stop_url
from surveys.reminders.tasks import look_for_reminders, mail_reminder, queue_due
from surveys.visits.drafts import start_visit
from tests.support.builders import make_accepted_visit, make_member, make_route, make_version

pytestmark = pytest.mark.django_db

SITE = "https://frogs.example.org/"
# The window of `make_version` is open from 15 March to 30 June.
OPENING, HALF, CLOSING = dt.date(2025, 3, 15), dt.date(2025, 5, 10), dt.date(2025, 6, 25)


@pytest.fixture(autouse=True)
def switched_on(program) -> None:
    for kind in ReminderKind:
        ReminderSetting.objects.create(program=program, kind=kind, active=True, site_url=SITE)


@pytest.fixture
def route(program, observer):
    route = make_route(program, version=make_version(program), code="R07", name="Mill Pond")
    Assignment.objects.create(route=route, observer=observer.person, season_year=2025)
    return route


def jobs() -> list[dict]:
    rows = ProcrastinateJob.objects.filter(task_name="reminders.mail").order_by("pk")
    return [job.args for job in rows]


@pytest.mark.parametrize(
    ("today", "kind"),
    [
        (OPENING - dt.timedelta(days=1), None),
        (OPENING, ReminderKind.WINDOW_OPENS),
        (OPENING + dt.timedelta(days=2), ReminderKind.WINDOW_OPENS),
        (OPENING + dt.timedelta(days=3), None),
        (HALF, ReminderKind.HALF_GONE),
        (CLOSING, ReminderKind.CLOSES_SOON),
        (dt.date(2025, 7, 1), None),
    ],
)
def test_the_date_decides_the_reminder_of_a_window(program, route, today, kind):
    queue_due(program, today)
    assert [job["kind"] for job in jobs()] == ([kind] if kind else [])


def test_it_goes_once_however_often_somebody_looks(program, route):
    assert queue_due(program, HALF) == 1
    assert queue_due(program, HALF) == 0
    assert queue_due(program, HALF + dt.timedelta(days=1)) == 0
    (job,) = jobs()
    mail_reminder(**job)
    mail_reminder(**job)
    assert len(mail.outbox) == 1


def test_a_worker_that_dies_between_leaves_neither_row_nor_job(program, route, monkeypatch):
    class DiedError(Exception):
        pass

    def die(**facts: object) -> None:
        raise DiedError

    with monkeypatch.context() as patch:
        patch.setattr(tasks.mail_reminder, "defer", die)
        with pytest.raises(DiedError):
            queue_due(program, HALF)
    assert not SentReminder.objects.exists()
    assert queue_due(program, HALF) == 1


def test_routes_of_one_person_are_one_mail_in_two_forms(program, observer, route):
    other = make_route(program, version=route.protocol.versions.get(), code="R08")
    Assignment.objects.create(route=other, observer=observer.person, season_year=2025)
    program.contact_email = "hello@example.org"
    program.save()
    queue_due(program, CLOSING)
    (job,) = jobs()
    mail_reminder(**job)
    (letter,) = mail.outbox
    assert letter.to == [observer.person.email]
    assert letter.reply_to == ["hello@example.org"]
    assert (
        "- Route R07 Mill Pond, Spring: 15 March 2025 to 30 June 2025\n- Route R08" in letter.body
    )
    ((html, kind),) = letter.alternatives
    assert kind == "text/html"
    assert "Route R07 Mill Pond" in html
    assert f'href="{SITE}{program.slug}/tonight/"' in html


def test_the_mail_program_can_stop_it_with_one_click(program, route, client):
    """RFC 8058, 3.1: both headers, an HTTPS address, and a POST without cookies that does it."""
    queue_due(program, HALF)
    (job,) = jobs()
    mail_reminder(**job)
    headers = mail.outbox[0].extra_headers
    assert headers["List-Unsubscribe-Post"] == "List-Unsubscribe=One-Click"
    address = headers["List-Unsubscribe"].removeprefix("<").removesuffix(">")
    assert address.startswith("https://")
    path = address.removeprefix(SITE.rstrip("/"))
    assert "Stop these emails?" in client.get(path).content.decode()
    answer = client.post(path, {"List-Unsubscribe": "One-Click"})
    assert answer.status_code == 200
    assert "These emails are stopped" in answer.content.decode()
    assert queue_due(program, CLOSING) == 1  # Another kind goes on.
    SentReminder.objects.all().delete()
    assert queue_due(program, HALF) == 0
    client.post(path, {"resume": "1"})
    assert queue_due(program, HALF) == 1


def test_a_link_that_was_changed_stops_nothing(client):
    assert client.post("/reminders/by-link/WzEsIm9wZW5zIl0:x:y").status_code == 404


def test_who_stopped_it_or_left_before_it_went_gets_nothing(program, observer, route):
    queue_due(program, HALF)
    (job,) = jobs()
    address = stop_url(observer, ReminderKind.HALF_GONE, SITE)
    stop(find_stop_link(address.rsplit("/", 1)[1]))
    mail_reminder(**job)
    queue_due(program, CLOSING)
    Membership.objects.filter(pk=observer.pk).update(active=False)
    mail_reminder(**jobs()[-1])
    assert mail.outbox == []


def test_no_one_is_reminded_of_a_route_that_has_a_visit_or_is_not_theirs(program, observer, route):
    make_member(program)  # Has no route.
    make_accepted_visit(
        route,
        observer.person,
        night=dt.date(2025, 4, 1),
        state=VisitState.SUBMITTED,
        counts_in_trends=False,
    )
    assert queue_due(program, CLOSING) == 0


def test_nights_that_are_not_submitted_and_visits_that_were_sent_back(program, observer, route):
    draft = start_visit(observer, route=route, night=dt.date(2025, 4, 10))
    back = make_accepted_visit(
        route,
        observer.person,
        night=dt.date(2025, 4, 2),
        state=VisitState.SENT_BACK,
        counts_in_trends=False,
    )
    ReviewStep.objects.create(
        visit=back,
        step=Step.SENT_BACK,
        by=observer.person,
        at=dt.datetime(2025, 4, 6, 12, tzinfo=dt.UTC),
        revision=1,
    )
    # Its observer withdrew it, and it was never submitted again.
    withdrawn = make_accepted_visit(
        route,
        observer.person,
        night=dt.date(2025, 4, 10),
        state=VisitState.SENT_BACK,
        counts_in_trends=False,
    )
    assert queue_due(program, dt.date(2025, 4, 12)) == 0
    assert queue_due(program, dt.date(2025, 4, 13)) == 2
    subjects = set(SentReminder.objects.values_list("kind", "subject"))
    assert subjects == {
        (ReminderKind.NOT_SUBMITTED, str(draft.pk)),
        (ReminderKind.NOT_SUBMITTED, str(withdrawn.pk)),
        (ReminderKind.SENT_BACK, f"{back.pk}:1"),
    }


@pytest.mark.parametrize(
    ("hour_utc", "is_sent"),
    [(13, False), (14, True), (23, True), (0, True), (1, False)],
)
def test_the_night_of_the_program_is_quiet(program, route, monkeypatch, hour_utc, is_sent):
    """Chicago is five hours behind UTC in May: mail goes from 9 to 20 o'clock there."""
    day = HALF if hour_utc >= 12 else HALF + dt.timedelta(days=1)
    now = dt.datetime.combine(day, dt.time(hour_utc, 17), tzinfo=dt.UTC)
    monkeypatch.setattr(timezone, "now", lambda: now)
    look_for_reminders(timestamp=0)
    assert bool(jobs()) is is_sent


def test_nothing_is_sent_until_a_coordinator_says_so(program, route, monkeypatch):
    ReminderSetting.objects.update(active=False)
    assert queue_due(program, HALF) == 0
    now = dt.datetime(2025, 5, 10, 18, tzinfo=dt.UTC)
    monkeypatch.setattr(timezone, "now", lambda: now)
    look_for_reminders(timestamp=0)
    assert jobs() == []


def test_a_call_identification_test_that_expires_is_told_once(program, observer):
    until = dt.date(2025, 9, 30)
    observer.trained_on, observer.trained_until = dt.date(2024, 9, 30), until
    observer.save()
    assert queue_due(program, until - dt.timedelta(days=31)) == 0
    assert queue_due(program, until - dt.timedelta(days=30)) == 1
    assert queue_due(program, until) == 0, "it was told"
    SentReminder.objects.all().delete()
    assert queue_due(program, until + dt.timedelta(days=1)) == 0, "too late"
    assert queue_due(program, until) == 1, "a server that was away tells it all the same"
    mail_reminder(**jobs()[-1])
    (letter,) = mail.outbox
    assert "Call-identification test, valid until 30 September 2025" in letter.body
    assert f"{SITE}{program.slug}/call-test" in letter.body
    observer.trained_until = until + dt.timedelta(days=20)
    observer.save()
    assert queue_due(program, until) == 1, "another day, another reminder"
