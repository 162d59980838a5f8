"""Every mail of the site, and the pages of what goes wrong, in a language that nobody speaks: what
is not marked for translation shows. Screens are read by `test_pseudo_language.py`."""

import datetime as dt
import errno

import psycopg
import pytest
from django.conf import settings
from django.core import mail
from django.core.exceptions import RequestDataTooBig
from django.shortcuts import render
from django.utils import timezone
from procrastinate.contrib.django.models import ProcrastinateJob

from surveys.check_ins.asking import mail_question
from surveys.check_ins.mailing import mail_back, mail_overdue
from surveys.models import (
    Assignment,
    CheckIn,
    CheckInContact,
    LetterGroup,
    ReminderKind,
    ReminderSetting,
    ReviewStep,
    Step,
    VisitState,
)
from surveys.operations import alerts
from surveys.operations.problems import problems
from surveys.reminders.letters import first_words, mail_letter
from surveys.reminders.tasks import mail_reminder, queue_due
from surveys.runs.queues import PATIENCE, WORKERS
from surveys.site_mode import Mode, SiteMode
from surveys.visits.drafts import start_visit
from surveys.visits.notices import mail_accepted, mail_message
from surveys.web import errors
from tests.support.builders import (
    make_accepted_visit,
    make_check_in,
    make_checklist,
    make_letter,
    make_route,
    make_version,
)
from tests.support.by_day import noon_zone
from tests.support.pseudo import (
    in_pseudo_language,
    unmarked,
    unmarked_in,
    words_of,
    words_of_the_database,
)

pytestmark = pytest.mark.django_db
SITE = "https://frogs.example.org/"

# Operators type these.
TECHNICAL_NAMES = frozenset(words_of([*WORKERS, *PATIENCE, "manage.py migrate"]))


def left_in_letters(names: frozenset[str] = frozenset()) -> list[str]:
    """Words of the mails that were sent which are marked nowhere, in plain text and in HTML."""
    known = words_of_the_database() | names
    left: list[str] = []
    assert mail.outbox
    for letter in mail.outbox:
        left += unmarked(f"{letter.subject}\n{letter.body}", known)
        for html, _ in getattr(letter, "alternatives", []):
            left += unmarked_in(html, known)
    mail.outbox.clear()
    return left


def test_the_mails_about_visits_say_nothing_unmarked(observer, coordinator, program):
    peeper, toad = make_checklist(program, "Pseudacris crucifer", "Anaxyrus americanus")
    route = make_route(program)
    before = dt.date(2019, 4, 15)
    make_accepted_visit(route, observer.person, night=before, heard={1: {peeper: 1}})
    visit = make_accepted_visit(route, observer.person, heard={1: {peeper: 2, toad: 1}})
    facts = {"visit": visit, "by": coordinator.person, "revision": 1, "at": timezone.now()}
    accepted = ReviewStep.objects.create(step=Step.ACCEPTED, note="", **facts)
    message = ReviewStep.objects.create(step=Step.MESSAGE, note="Fog?", **facts)
    with in_pseudo_language():
        mail_accepted(step_id=accepted.pk, site_url=SITE)
        mail_message(step_id=message.pk, person_id=observer.person_id, site_url=SITE)
    assert len(mail.outbox[0].body.splitlines()) > 8  # What the visit added is among it.
    assert left_in_letters() == []


def test_reminders_and_letters_say_nothing_unmarked(observer, coordinator, program):
    """Every kind in its usual words, with the lines that tell what is due."""
    program.time_zone = noon_zone()
    program.save()
    route = make_route(program, version=make_version(program))
    Assignment.objects.create(route=route, observer=observer.person, season_year=2025)
    for kind in ReminderKind:
        ReminderSetting.objects.create(program=program, kind=kind, active=True, site_url=SITE)
    start_visit(observer, route=route, night=dt.date(2025, 4, 2))
    sent_back = make_accepted_visit(
        route, observer.person, state=VisitState.SENT_BACK, counts_in_trends=False
    )
    ReviewStep.objects.create(
        visit=sent_back,
        step=Step.SENT_BACK,
        by=coordinator.person,
        note="Look.",
        revision=1,
        at=timezone.now() - dt.timedelta(days=8),
    )
    observer.trained_until = timezone.localdate() + dt.timedelta(days=20)
    observer.save()
    with in_pseudo_language():
        for day in (dt.date(2025, 3, 15), dt.date(2025, 5, 10), dt.date(2025, 6, 25)):
            queue_due(program, day)
        queue_due(program, timezone.localdate())
        jobs = ProcrastinateJob.objects.filter(task_name="reminders.mail")
        assert {job.args["kind"] for job in jobs} == {kind.value for kind in ReminderKind}
        for job in jobs:
            mail_reminder(**job.args)
        for group in LetterGroup:
            words = first_words(group)
            letter = make_letter(coordinator, observer, subject=words.subject, text=words.text)
            letter.copies.update(words=str(group.label))
            mail_letter(copy_id=letter.copies.get().pk)
    assert len(mail.outbox) == len(ReminderKind) + len(LetterGroup)
    assert left_in_letters() == []


def test_the_mails_to_a_contact_say_nothing_unmarked(observer, program):
    late = make_check_in(observer, make_route(program), overdue_at=timezone.now(), car="green van")
    program.emergency_contact = "Heron Desk"
    program.save()
    with in_pseudo_language():
        mail_overdue(check_in_id=str(late.pk))
        CheckIn.objects.update(back_at=timezone.now())
        mail_back(check_in_id=str(late.pk))
        CheckInContact.objects.update(confirmed_at=None)
        mail_question(contact_id=late.contact_id)
    assert len(mail.outbox) == 3
    assert left_in_letters() == []


def test_alerts_to_operators_say_nothing_unmarked(settings):
    settings.OPERATORS = ["ops@example.org"]
    with in_pseudo_language():
        found = {one.key: str(one.words) for one in [*problems(), alerts.DATABASE_AWAY]}
        assert len(found) > 2
        alerts._send(alerts.compare("ops@example.org", {}, found))
        alerts._send(alerts.compare("ops@example.org", found, {}))
    assert left_in_letters(TECHNICAL_NAMES | words_of([str(settings.MEDIA_ROOT)])) == []


def answers_of_errors(rf) -> dict[str, str]:
    """What a reader sees when something goes wrong, by its name."""

    def failed(error: Exception) -> str:
        try:
            raise error
        except type(error):
            return errors.server_error(rf.get("/")).content.decode()

    closed = SiteMode(mode=Mode.MAINTENANCE, until=timezone.now() + dt.timedelta(minutes=20))
    large = errors.bad_request(rf.get("/"), RequestDataTooBig("large")).content.decode()
    templates = (settings.BASE_DIR / "surveys/web/templates").glob("[0-9]*.html")
    return {
        "500": failed(ValueError("x")),
        "503": failed(psycopg.OperationalError("connection refused")),
        "507": failed(OSError(errno.ENOSPC, "full")),
        "413": large,
        "closed": f"<p>{closed.words(timezone.now())}</p>",
        **{path.name: render(rf.get("/"), path.name).content.decode() for path in templates},
    }


def test_pages_of_errors_say_nothing_unmarked(rf):
    with in_pseudo_language():
        pages = answers_of_errors(rf)
    assert len(pages) > 10
    assert len({pages["500"], pages["503"], pages["507"]}) == 3
    left = {name: unmarked_in(html, words_of_the_database()) for name, html in pages.items()}
    assert {name: words for name, words in left.items() if words} == {}
