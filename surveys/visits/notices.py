"""Mail about visits, sent by the worker. The task is deferred in the transaction of the change,
so the mail is sent if and only if the change is committed."""

from __future__ import annotations

from django.conf import settings
from django.core.mail import send_mail
from django.urls import reverse
from procrastinate.contrib.django import app

from surveys import dates
from surveys.language import gettext, said
from surveys.models import ReviewStep
from surveys.runs.queues import MAIL, MAIL_RETRY


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
    with dates.using(program.date_style):
        night = dates.day(visit.night)
    questions = gettext("Questions? Ask your coordinator.")
    if program.contact_email:
        questions = said(
            "Questions? Write to {contact_email}.", contact_email=program.contact_email
        )
    path = reverse("web:sheet", kwargs={"program": program.slug, "visit_id": visit.pk})
    note = "\n".join(f"    {line}" for line in step.note.splitlines())
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
