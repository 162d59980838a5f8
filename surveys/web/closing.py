"""Answers while the site is read-only or closed for maintenance: `surveys/site_mode.py`."""

import datetime as dt
from collections.abc import Callable
from http import HTTPStatus

from django.conf import settings
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render

from surveys.language import gettext
from surveys.site_mode import Mode, SiteIsReadOnly, SiteMode, read

# Asked by machines that watch the site; the theme is a cookie of the browser and no more.
_ALWAYS_OPEN = frozenset({"/healthz", "/readyz", "/metrics", "/.well-known/security.txt"})
_WRITES_NOTHING = frozenset({"/theme"})
_READING = frozenset({"GET", "HEAD", "OPTIONS"})
# Passwords and codes are never written into a page.
_NOT_SENT_AGAIN = "/accounts/"
_CLOSED = HTTPStatus.SERVICE_UNAVAILABLE
_FORM = "application/x-www-form-urlencoded"


class SiteModeMiddleware:
    """Stands before sessions and everything else that asks the database."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        now = read(settings.SITE_MODE_FILE)
        if now.mode is Mode.OPEN or request.path in _ALWAYS_OPEN:
            return self.get_response(request)
        if now.mode is Mode.MAINTENANCE:
            return _refused(request, now)
        if request.method not in _READING and request.path not in _WRITES_NOTHING:
            return _refused(request, now)
        request.site_mode = now  # type: ignore[attr-defined]
        return self.get_response(request)

    def process_exception(self, request: HttpRequest, exception: Exception) -> HttpResponse | None:
        if not isinstance(exception, SiteIsReadOnly):
            return None
        return _refused(request, read(settings.SITE_MODE_FILE))


def notice(request: HttpRequest) -> str:
    """What every page says at its top while the site is read-only."""
    now: SiteMode | None = getattr(request, "site_mode", None)
    return now.words(_now()) if now else ""


def _refused(request: HttpRequest, mode: SiteMode) -> HttpResponse:
    words = mode.words(_now())
    if request.path.startswith("/api/") or request.content_type == "application/json":
        response: HttpResponse = JsonResponse({"detail": words}, status=_CLOSED)
    else:
        # Without the request: to look who is signed in would ask the database.
        context = {
            "words": words,
            "heading": _heading(mode),
            "closed": mode.mode is Mode.MAINTENANCE,
            "sent": request.method not in _READING,
            "path": request.get_full_path(),
            "fields": _typed(request),
        }
        response = render(None, "503.html", context, status=_CLOSED)
    response["Retry-After"] = str(mode.wait_s(_now()))
    response["Cache-Control"] = "no-store"
    return response


def _heading(mode: SiteMode) -> str:
    if mode.mode is Mode.MAINTENANCE:
        return gettext("Closed for maintenance")
    return gettext("Nothing can be saved at the moment")


def _typed(request: HttpRequest) -> list[tuple[str, str]]:
    """The fields of a form, so that it can be sent again from the page that refuses it."""
    if request.content_type != _FORM or request.path.startswith(_NOT_SENT_AGAIN):
        return []
    return [(name, value) for name, values in request.POST.lists() for value in values]


def _now() -> dt.datetime:
    return dt.datetime.now(dt.UTC)
