"""Mail about visits, sent by the worker. The task is deferred in the transaction of the change,
so the mail is sent if and only if the change is committed."""

from __future__ import annotations

from django.urls import reverse
from procrastinate.contrib.django import app

from accounts.models import Person
from surveys import dates
from surveys.language import gettext, said
from surveys.models import ReviewStep
from surveys.runs.plain_mail import mail_to, quoted
from surveys.runs.queues import MAIL, MAIL_RETRY
from surveys.visits.added import added_by


@app.task(
    name="visits.mail_sent_back",
    queue=MAIL,
    retry=MAIL_RETRY,
)
def mail_sent_back(*, step_id: int, site_url: str) -> None:
    """Mail the observer that a visit was sent back, with the coordinator's note."""
    step = _step(step_id)
    visit, program = step.visit, step.visit.route.program
    if not visit.observer.has_account:
        return  # Erased since.
    night = _night(step)
    questions = gettext("Questions? Ask your coordinator.")
    if program.contact_email:
        questions = said(
            "Questions? Write to {contact_email}.", contact_email=program.contact_email
        )
    mail_to(
        visit.observer.name,
        visit.observer.email,
        said("{program}: please check your visit of {night}", program=program.name, night=night),
        said(
            "{name} sent back your visit to {route} on the night of {night}, with this note:",
            name=step.by.name,
            route=visit.route,
            night=night,
        ),
        quoted(step.note),
        gettext(
            "Nothing you entered is lost. Open the visit, correct what you can, and submit it "
            "again:"
        ),
        _address(step, site_url, "web:sheet", "visit_id"),
        questions,
    )


@app.task(
    name="visits.mail_accepted",
    queue=MAIL,
    retry=MAIL_RETRY,
)
def mail_accepted(*, step_id: int, site_url: str) -> None:
    """Thank the observer of an accepted visit, with what it added."""
    step = _step(step_id)
    visit, program = step.visit, step.visit.route.program
    night = _night(step)
    added = added_by(visit)
    mail_to(
        visit.observer.name,
        visit.observer.email,
        said("{program}: your visit of {night} is accepted", program=program.name, night=night),
        said(
            "Your visit to {route} on the night of {night} is accepted. Thank you. "
            "It now counts in Seasons and Trends.",
            route=visit.route,
            night=night,
        ),
        *([quoted("\n".join(added))] if added else []),
        gettext("The visit:"),
        _address(step, site_url, "web:visit", "visit_id"),
    )


@app.task(
    name="visits.mail_message",
    queue=MAIL,
    retry=MAIL_RETRY,
)
def mail_message(*, step_id: int, person_id: int, site_url: str) -> None:
    """Mail what somebody wrote about a visit to one person of the other side."""
    step = _step(step_id)
    person = Person.objects.get(pk=person_id)
    if not person.has_account:
        return  # Nobody would get it.
    visit, program = step.visit, step.visit.route.program
    night = _night(step)
    is_observer = person.pk == visit.observer_id
    page, key = ("web:visit", "visit_id") if is_observer else ("web:review_visit", "visit")
    mail_to(
        person.name,
        person.email,
        said("{program}: message about the visit of {night}", program=program.name, night=night),
        said(
            "{name} wrote about the visit to {route} on the night of {night}:",
            name=step.by.name,
            route=visit.route,
            night=night,
        ),
        quoted(step.note),
        gettext("Read it and answer here:"),
        f"{_address(step, site_url, page, key)}#conversation",
    )


def _step(step_id: int) -> ReviewStep:
    steps = ReviewStep.objects.select_related("visit__route__program", "visit__observer", "by")
    return steps.get(pk=step_id)


def _address(step: ReviewStep, site_url: str, page: str, key: str) -> str:
    """Of a page of the visit, which its URL calls `key`."""
    slug = step.visit.route.program.slug
    path = reverse(page, kwargs={"program": slug, key: step.visit_id})
    return quoted(f"{site_url.rstrip('/')}{path}")


def _night(step: ReviewStep) -> str:
    with dates.using(step.visit.route.program.date_style):
        return dates.day(step.visit.night)
