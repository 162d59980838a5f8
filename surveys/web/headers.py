"""Headers of every answer that Django has no setting for."""

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse

from accounts.signed_out import Why, tell_device
from surveys.web.keys import KEYS

PRIVATE = "private, no-store"
# Used by the phone in the field and by passkeys; everything else a browser can do is off.
PERMISSIONS_POLICY = ", ".join(
    (
        *(
            f"{feature}=(self)"
            for feature in (
                "geolocation",
                "microphone",
                "screen-wake-lock",
                "publickey-credentials-create",
                "publickey-credentials-get",
            )
        ),
        *(f"{feature}=()" for feature in ("camera", "display-capture", "payment", "usb")),
    )
)


def attach_data(get_response: Callable[[HttpRequest], HttpResponse]) -> Callable:
    """What the API answers is for programs, and no browser shows it as a page of this site (OWASP
    ASVS 4.0.3, 14.4.2)."""

    def respond(request: HttpRequest) -> HttpResponse:
        response = get_response(request)
        if response.headers.get("Content-Type", "").startswith("application/json"):
            response.headers.setdefault("Content-Disposition", 'attachment; filename="api.json"')
        return response

    return respond


def private_by_default(get_response: Callable[[HttpRequest], HttpResponse]) -> Callable:
    """No cache keeps an answer, neither of the browser nor on the way, unless its view says
    otherwise: on a shared computer nothing is left of what was read."""

    def respond(request: HttpRequest) -> HttpResponse:
        response = get_response(request)
        response.headers.setdefault("Cache-Control", PRIVATE)
        return response

    return respond


class HeadersMiddleware:
    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        response["Permissions-Policy"] = PERMISSIONS_POLICY
        match = request.resolver_match
        if match is not None and KEYS & match.kwargs.keys():
            # Not "no-referrer": then a form sends no origin, and is refused as forged.
            response["Referrer-Policy"] = "strict-origin"
        if match is not None and match.url_name == "account_logout" and request.method == "POST":
            # Not "storage": there lie entries that a phone has not sent yet.
            response["Clear-Site-Data"] = '"cache"'
            tell_device(request, response, Why.ASKED)
        return response
