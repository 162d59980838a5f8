"""The one mail that somebody gets who is no member: whether they want to be a contact."""

from __future__ import annotations

from procrastinate.contrib.django import app

from surveys.check_ins.links import link_of
from surveys.language import gettext, said
from surveys.models import CheckInContact
from surveys.runs.plain_mail import mail_to, quoted
from surveys.runs.queues import MAIL, MAIL_RETRY


@app.task(name="check_ins.ask", queue=MAIL, retry=MAIL_RETRY)
def mail_question(*, contact_id: int) -> None:
    contacts = CheckInContact.objects.select_related("program", "owner")
    contact = contacts.filter(pk=contact_id).first()
    if contact is None or not contact.email or contact.confirmed_at:
        return
    name, program = contact.owner.name, contact.program.name
    mail_to(
        contact.name,
        contact.email,
        said("{name} asks you to be their contact at night", name=name),
        said(
            "{name} listens for frogs and toads at night for {program}, and would like you to be "
            "the contact for such evenings.",
            name=name,
            program=program,
        ),
        gettext(
            "If you say yes, and they are not back at the time they set, this site emails you. It "
            "cannot call for help, and it knows nothing where there is no signal. Email may come "
            "late. It is not a rescue service."
        ),
        gettext("Say yes or no here. If you do nothing, you get no more emails:"),
        quoted(link_of(contact)),
    )
