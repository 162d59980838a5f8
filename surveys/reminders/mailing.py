"""A mail to one member in two forms, with the link that stops its kind."""

from __future__ import annotations

from django.core.mail import EmailMultiAlternatives
from django.template.loader import render_to_string

from accounts.models import Membership
from surveys.reminders.stopping import MailKind, stop_url
from surveys.reminders.texts import Words


def mail_to(
    member: Membership, kind: MailKind, words: Words, *, site_url: str, answer_to: str | None
) -> EmailMultiAlternatives:
    """Plain text and HTML. One click in the reader's mail program stops the kind (RFC 8058)."""
    stop = stop_url(member, kind, site_url)
    facts = {"words": words, "stop": stop, "program": member.program, "kind": kind.label}
    mail = EmailMultiAlternatives(
        subject=words.subject,
        body=render_to_string("reminders/mail.txt", facts),
        to=[member.person.email],
        reply_to=[answer_to] if answer_to else None,
        headers={
            "List-Unsubscribe": f"<{stop}>",
            "List-Unsubscribe-Post": "List-Unsubscribe=One-Click",
        },
    )
    mail.attach_alternative(render_to_string("reminders/mail.html", facts), "text/html")
    return mail
