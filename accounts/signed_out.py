"""Tells a device that nobody is signed in on it any more: it then forgets routes and places.

A cookie, because the answer that ends a session is a page or a line of JSON like any other, and
because a page may be left before its script has loaded. The scripts of the next page read it and
take it away: static/web/js/sign-out.js, and static/survey/sender.js on the phone.
"""

from enum import StrEnum

from django.conf import settings
from django.http import HttpRequest, HttpResponse

COOKIE = "signed-out"
_KEPT_S = 30 * 24 * 3600


class Why(StrEnum):
    """`ended`: nobody asked for it on this device, so the visit of tonight can be gone on with."""

    ASKED = "asked"
    ENDED = "ended"


def tell_device(request: HttpRequest, response: HttpResponse, why: Why) -> None:
    response.set_cookie(
        COOKIE,
        why,
        max_age=_KEPT_S,
        samesite="Lax",
        secure=settings.SESSION_COOKIE_SECURE or request.is_secure(),
    )
