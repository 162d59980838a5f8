"""Answers to what goes wrong outside of a view: a page for people, JSON for programs."""

import sys

from django.core.exceptions import RequestDataTooBig
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render
from django.views import defaults

from surveys import database_away, disk
from surveys.language import gettext
from surveys.web.themes import night_of, theme_of
from surveys.web.unavailable import unavailable


def _is_api(request: HttpRequest) -> bool:
    return request.path.startswith("/api/")


def bad_request(request: HttpRequest, exception: Exception) -> HttpResponse:
    status = 413 if isinstance(exception, RequestDataTooBig) else 400
    if _is_api(request):
        return JsonResponse({"detail": _bad_request_words(exception)}, status=status)
    response = defaults.bad_request(request, exception, template_name=f"{status}.html")
    response.status_code = status
    return response


def _bad_request_words(exception: Exception) -> str:
    if isinstance(exception, RequestDataTooBig):
        return gettext("The request is too large. Send it in smaller parts.")
    return gettext("The request cannot be read: part of it is missing or malformed.")


def page_not_found(request: HttpRequest, exception: Exception) -> HttpResponse:
    if _is_api(request):
        return JsonResponse({"detail": gettext("There is no such address here.")}, status=404)
    return defaults.page_not_found(request, exception)


def server_error(request: HttpRequest) -> HttpResponse:
    error = sys.exc_info()[1]
    if database_away.is_away(error):
        page = {"heading": gettext("Please try again in a minute"), "closed": True, "unsure": True}
        return unavailable(request, _away_words(), wait_s=database_away.WAIT_S, page=page)
    full = disk.is_full(error)
    if _is_api(request):
        words = disk.full_words() if full else _went_wrong()
        return JsonResponse({"detail": words}, status=507 if full else 500)
    look = {"theme": theme_of(request), "night": night_of(request)}
    if full:
        # Nothing of the request is used: to read its session may fail for the same reason.
        context = {**look, "words": disk.full_words()}
        return render(None, "507.html", context, status=507)
    return render(None, "500.html", look, status=500)


def _away_words() -> str:
    return gettext(
        "Duskpool cannot reach its database at the moment. Everything saved before is safe. Try "
        "again in a minute."
    )


def _went_wrong() -> str:
    return gettext(
        "Something went wrong on our end. The error has been logged. Everything saved before is "
        "safe. Try again in a minute."
    )
