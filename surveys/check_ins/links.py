"""The link in each mail to a contact. It opens nothing but their yes or no."""

from __future__ import annotations

from django.core import signing
from django.http import Http404
from django.urls import reverse

from surveys.language import gettext
from surveys.models import CheckInContact

_SALT = "surveys.check_ins.links"


def link_of(contact: CheckInContact) -> str:
    token = signing.dumps(contact.pk, salt=_SALT)
    return contact.site_url.rstrip("/") + reverse("web:check_in_contact", kwargs={"token": token})


def find_by_link(token: str) -> CheckInContact:
    """Raises Http404 for a link that was not made here, or of which nothing is left."""
    try:
        key = signing.loads(token, salt=_SALT)
        return CheckInContact.objects.select_related("program", "owner", "member").get(pk=key)
    except (signing.BadSignature, ValueError, TypeError, CheckInContact.DoesNotExist):
        raise Http404(
            gettext("This link is not valid. Copy the whole link from the email.")
        ) from None
