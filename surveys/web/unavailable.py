"""Answers of 503: what was asked for cannot be had at the moment, and what to do until it can.

Nothing here asks the database: it may be away, or closed on purpose.
"""

from collections.abc import Mapping
from http import HTTPStatus
from typing import Any

from django.core.exceptions import SuspiciousOperation
from django.http import HttpRequest, HttpResponse, JsonResponse, UnreadablePostError
from django.shortcuts import render

from surveys.web.themes import night_of, theme_of

READING = frozenset({"GET", "HEAD", "OPTIONS"})
# Passwords and codes are never written into a page.
_NOT_SENT_AGAIN = "/accounts/"
_FORM = "application/x-www-form-urlencoded"


def unavailable(
    request: HttpRequest, words: str, *, wait_s: int, page: Mapping[str, Any]
) -> HttpResponse:
    """`page`: heading, and what else the page says. Programs get the words as JSON."""
    status = HTTPStatus.SERVICE_UNAVAILABLE
    if wants_json(request):
        response: HttpResponse = JsonResponse({"detail": words}, status=status)
    else:
        context = {
            **page,
            "theme": theme_of(request),
            "night": night_of(request),
            "words": words,
            "sent": request.method not in READING,
            "path": request.get_full_path(),
            "fields": _typed(request),
        }
        # Without the request: to look who is signed in would ask the database.
        response = render(None, "503.html", context, status=status)
    response["Retry-After"] = str(wait_s)
    response["Cache-Control"] = "no-store"
    return response


def wants_json(request: HttpRequest) -> bool:
    return (
        request.path.startswith("/api/")
        or request.path.endswith(".json")
        or request.content_type == "application/json"
    )


def _typed(request: HttpRequest) -> list[tuple[str, str]]:
    """The fields of a form, so that it can be sent again from the page that refuses it."""
    if request.content_type != _FORM or request.path.startswith(_NOT_SENT_AGAIN):
        return []
    try:
        return [(name, value) for name, values in request.POST.lists() for value in values]
    except (SuspiciousOperation, UnreadablePostError):  # too large, or it broke off
        return []
