"""Mail about visits, sent by the worker. The task is deferred in the transaction of the change,
so the mail is sent if and only if the change is committed."""

from __future__ import annotations

from django.conf import settings
from django.core.mail import send_mail
from django.urls import reverse
from procrastinate.contrib.django import app

from accounts.models import Person
from surveys import dates
from surveys.language import gettext, said
from surveys.models import ReviewStep
from surveys.runs.queues import MAIL, MAIL_RETRY
from surveys.visits.added import added_by


@app.task(
    name="visits.mail_sent_back",
    queue=MAIL,
    retry=MAIL_RETRY,
)
def mail_sent_back(*, step_id: int, site_url: str) -> None:
    """Mail the observer that a visit was sent back, with the coordinator's note."""
    step = ReviewStep.objects.select_related("visit__route__program", "visit__observer", "by").get(
        pk=step_id
    )
    visit, program = step.visit, step.visit.route.program
    if not visit.observer.has_account:
        return  # Erased since.
    night = _night(step)
    questions = gettext("Questions? Ask your coordinator.")
    if program.contact_email:
        questions = said(
            "Questions? Write to {contact_email}.", contact_email=program.contact_email
        )
    path = reverse("web:sheet", kwargs={"program": program.slug, "visit_id": visit.pk})
    note = _quoted(step.note)
    send_mail(
        subject=said(
            "{program}: please check your visit of {night}", program=program.name, night=night
        ),
        message="\n\n".join(
            [
                said("Hello {name},", name=visit.observer.name),
                said(
                    "{name} sent back your visit to {route} on the night of {night}, "
                    "with this note:",
                    name=step.by.name,
                    route=visit.route,
                    night=night,
                ),
                note,
                gettext(
                    "Nothing you entered is lost. Open the visit, correct what you can, and "
                    "submit it again:"
                ),
                f"    {site_url.rstrip('/')}{path}",
                f"{questions}\n",
            ]
        ),
        from_email=settings.DEFAULT_FROM_EMAIL,
        recipient_list=[visit.observer.email],
    )


@app.task(
    name="visits.mail_accepted",
    queue=MAIL,
    retry=MAIL_RETRY,
)
def mail_accepted(*, step_id: int, site_url: str) -> None:
    """Thank the observer of an accepted visit, with what it added."""
    step = ReviewStep.objects.select_related("visit__route__program", "visit__observer", "by").get(
        pk=step_id
    )
    visit, program = step.visit, step.visit.route.program
    night = _night(step)
    path = reverse("web:visit", kwargs={"program": program.slug, "visit_id": visit.pk})
    added = added_by(visit)
    send_mail(
        subject=said(
            "{program}: your visit of {night} is accepted", program=program.name, night=night
        ),
        message="\n\n".join(
            [
                said("Hello {name},", name=visit.observer.name),
                said(
                    "Your visit to {route} on the night of {night} is accepted. Thank you. "
                    "It now counts in Seasons and Trends.",
                    route=visit.route,
                    night=night,
                ),
                *([_quoted("\n".join(added))] if added else []),
                gettext("The visit:"),
                f"    {site_url.rstrip('/')}{path}\n",
            ]
        ),
        from_email=settings.DEFAULT_FROM_EMAIL,
        recipient_list=[visit.observer.email],
    )


@app.task(
    name="visits.mail_message",
    queue=MAIL,
    retry=MAIL_RETRY,
)
def mail_message(*, step_id: int, person_id: int, site_url: str) -> None:
    """Mail what somebody wrote about a visit to one person of the other side."""
    step = ReviewStep.objects.select_related("visit__route__program", "visit__observer", "by").get(
        pk=step_id
    )
    person = Person.objects.get(pk=person_id)
    if not person.has_account:
        return  # Nobody would get it.
    visit, program = step.visit, step.visit.route.program
    night = _night(step)
    page = "web:visit" if person.pk == visit.observer_id else "web:review_visit"
    key = "visit_id" if person.pk == visit.observer_id else "visit"
    path = reverse(page, kwargs={"program": program.slug, key: visit.pk})
    send_mail(
        subject=said(
            "{program}: message about the visit of {night}", program=program.name, night=night
        ),
        message="\n\n".join(
            [
                said("Hello {name},", name=person.name),
                said(
                    "{name} wrote about the visit to {route} on the night of {night}:",
                    name=step.by.name,
                    route=visit.route,
                    night=night,
                ),
                _quoted(step.note),
                gettext("Read it and answer here:"),
                f"    {site_url.rstrip('/')}{path}#conversation\n",
            ]
        ),
        from_email=settings.DEFAULT_FROM_EMAIL,
        recipient_list=[person.email],
    )


def _night(step: ReviewStep) -> str:
    with dates.using(step.visit.route.program.date_style):
        return dates.day(step.visit.night)


def _quoted(text: str) -> str:
    return "\n".join(f"    {line}" for line in text.splitlines())
