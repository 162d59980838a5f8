"""Answers while the site is read-only or closed for maintenance: `surveys/site_mode.py`."""

import datetime as dt
from collections.abc import Callable

from django.conf import settings
from django.http import HttpRequest, HttpResponse

from surveys.language import gettext
from surveys.site_mode import Mode, SiteIsReadOnly, SiteMode, read
from surveys.web.unavailable import READING, unavailable

# Asked by machines that watch the site; the theme is a cookie of the browser and no more.
_ALWAYS_OPEN = frozenset({"/healthz", "/readyz", "/metrics", "/.well-known/security.txt"})
_WRITES_NOTHING = frozenset({"/theme"})


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
        if request.method not in READING and request.path not in _WRITES_NOTHING:
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
    page = {"heading": _heading(mode), "closed": mode.mode is Mode.MAINTENANCE}
    return unavailable(request, mode.words(_now()), wait_s=mode.wait_s(_now()), page=page)


def _heading(mode: SiteMode) -> str:
    if mode.mode is Mode.MAINTENANCE:
        return gettext("Closed for maintenance")
    return gettext("Nothing can be saved at the moment")


def _now() -> dt.datetime:
    return dt.datetime.now(dt.UTC)
