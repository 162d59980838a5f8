"""Ends sessions that nobody uses, on devices where people did not ask to stay signed in."""

from collections.abc import Callable
from time import time

from django.conf import settings
from django.contrib.auth import logout
from django.http import HttpRequest, HttpResponse

from accounts.signed_out import Why, tell_device

_SEEN = "seen_at"
# The last request is noted to the minute, to save a write at each one.
_PRECISION_S = 60


class IdleMiddleware:
    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        if request.session.get_expire_at_browser_close() and request.user.is_authenticated:
            self._check(request)
        # Also one that was ended on another device, or whose end was told by a lost answer.
        had_one = settings.SESSION_COOKIE_NAME in request.COOKIES
        is_over = had_one and request.session.is_empty()
        response = self.get_response(request)
        if is_over:
            tell_device(request, response, Why.ENDED)
        return response

    def _check(self, request: HttpRequest) -> None:
        now = time()
        seen = request.session.get(_SEEN)
        if seen is not None and now - seen > settings.SESSION_IDLE_SECONDS:
            logout(request)
        elif seen is None or now - seen > _PRECISION_S:
            request.session[_SEEN] = now
