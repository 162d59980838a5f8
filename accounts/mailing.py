"""Mail about accounts. It waits in the mail queue, sealed: it holds links and codes that open an
account, and the queue's table is in every backup."""

import json
from urllib.parse import urlsplit

from allauth.account.forms import default_token_generator
from allauth.account.models import EmailAddress
from allauth.account.utils import user_pk_to_url_str
from django.core.mail import EmailMessage, send_mail
from django.template.loader import render_to_string
from django.urls import reverse
from procrastinate.contrib.django import app

from accounts.sealing import seal, unseal
from surveys.runs.queues import MAIL, MAIL_RETRY

_PURPOSE = "mail"


def queue_letter(message: EmailMessage, *, is_sent: bool) -> None:
    """Leave a letter to the worker. One that is not to be sent is queued as well, so that the
    time an answer takes does not tell which addresses have an account."""
    letter = {
        "subject": message.subject,
        "body": message.body,
        "from_email": message.from_email,
        "to": message.to if is_sent else [],
    }
    send_letter.defer(sealed=seal(json.dumps(letter), _PURPOSE))


@app.task(name="accounts.send_letter", queue=MAIL, retry=MAIL_RETRY)
def send_letter(*, sealed: str) -> None:
    """Send a letter; one without recipients is not sent."""
    EmailMessage(**json.loads(unseal(sealed, _PURPOSE))).send()


def queue_reset_link(email: str, *, site_url: str) -> None:
    """Leave it to the worker to find out whose address this is: the request does the same, and
    takes the same time, for an address that nobody has."""
    mail_reset_link.defer(sealed=seal(email.lower(), _PURPOSE), site_url=site_url)


@app.task(name="accounts.mail_reset_link", queue=MAIL, retry=MAIL_RETRY)
def mail_reset_link(*, sealed: str, site_url: str) -> None:
    """Mail a link that sets a new password, if it is the confirmed address of an open account."""
    address = (
        EmailAddress.objects.select_related("user")
        .filter(email=unseal(sealed, _PURPOSE), verified=True, user__is_active=True)
        .first()
    )
    if address is None:
        return
    path = reverse(
        "account_reset_password_from_key",
        kwargs={
            "uidb36": user_pk_to_url_str(address.user),
            "key": default_token_generator.make_token(address.user),
        },
    )
    facts = {
        "password_reset_url": site_url.rstrip("/") + path,
        "current_site": {"domain": urlsplit(site_url).netloc},
    }
    send_mail(
        subject=render_to_string("account/email/password_reset_key_subject.txt").strip(),
        message=render_to_string("account/email/password_reset_key_message.txt", facts),
        from_email=None,
        recipient_list=[address.email],
    )
