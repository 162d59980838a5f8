"""Logs: a line of JSON for each request and each message, and never a key that opens something.

    time, level, logger, message
    request_id              the same for all lines of a request, and in its answer as X-Request-ID
    person                  id of who is signed in
    address                 of the client, behind as many proxies as the settings trust
    method, path, status, bytes, ms      of the line about the request itself

Query strings are left out: they hold what people searched for.
"""

from __future__ import annotations

import logging
import uuid
from collections.abc import Callable
from contextvars import ContextVar
from time import perf_counter
from typing import Any

from django.conf import settings
from django.core.exceptions import ImproperlyConfigured
from django.utils.functional import LazyObject
from pythonjsonlogger.json import JsonFormatter

from surveys.web.keys import without_keys

REQUESTS = "duskpool.requests"
_current: ContextVar[Any] = ContextVar("current_request", default=None)
log = logging.getLogger(REQUESTS)


class AboutTheRequest(logging.Filter):
    """Adds to each record which request it belongs to; none outside one."""

    def filter(self, record: logging.LogRecord) -> bool:
        # Django gives the request itself with what it logs, and that is nothing to write down.
        request = record.__dict__.pop("request", None) or _current.get()
        if hasattr(request, "id"):
            record.request_id = request.id
            record.person = _person_id(request)
            record.address = _address(request)
        return True


class KeylessJsonFormatter(JsonFormatter):
    def format(self, record: logging.LogRecord) -> str:
        return without_keys(super().format(record))


class KeylessFormatter(logging.Formatter):
    def format(self, record: logging.LogRecord) -> str:
        return without_keys(super().format(record))


def logging_config(*, as_json: bool) -> dict[str, Any]:
    """For Django and for gunicorn. One handler, so that nothing goes past the formatter: not the
    mail to administrators either, which holds the whole request."""
    return {
        "version": 1,
        "disable_existing_loggers": False,
        "filters": {"request": {"()": "deploy.logs.AboutTheRequest"}},
        "formatters": {
            "json": {
                "()": "deploy.logs.KeylessJsonFormatter",
                "fmt": ["asctime", "levelname", "name", "message"],
                "rename_fields": {"asctime": "time", "levelname": "level", "name": "logger"},
                "json_ensure_ascii": False,
            },
            "plain": {
                "()": "deploy.logs.KeylessFormatter",
                "format": "%(asctime)s %(levelname)s %(name)s: %(message)s",
            },
        },
        "handlers": {
            "console": {
                "class": "logging.StreamHandler",
                "formatter": "json" if as_json else "plain",
                "filters": ["request"],
            }
        },
        "root": {"handlers": ["console"], "level": "INFO"},
        "loggers": {
            "django": {"handlers": [], "level": "INFO", "propagate": True},
            "django.server": {"handlers": [], "level": "INFO", "propagate": True},
            "gunicorn.error": {"handlers": [], "level": "INFO", "propagate": True},
            "fontTools": {"level": "WARNING"},
            "procrastinate.blueprints": {"level": "WARNING"},
            # What is called every minute; the worker logs each job.
            "procrastinate.periodic": {"level": "WARNING"},
            "pyogrio": {"level": "WARNING"},
            "weasyprint": {"level": "ERROR"},
        },
    }


def log_requests(get_response: Callable[[Any], Any]) -> Callable[[Any], Any]:
    """Middleware: gives each request its id, and logs how it was answered."""

    def respond(request: Any) -> Any:
        began = perf_counter()
        request.id = uuid.uuid4().hex
        token = _current.set(request)
        try:
            response = get_response(request)
            if not request.path.startswith(settings.STATIC_PATH):  # A phone fetches a hundred.
                response["X-Request-ID"] = request.id
            facts = {
                "method": request.method,
                "path": request.path,
                "status": response.status_code,
                "bytes": response.headers.get("Content-Length"),
                "ms": round((perf_counter() - began) * 1000),
            }
            log.info("%(method)s %(path)s %(status)s", facts, extra=facts)
            return response
        finally:
            _current.reset(token)

    return respond


def _person_id(request: Any) -> int | None:
    """Of whoever the request is known to come from; asks nothing of the database for it."""
    user = request.__dict__.get("user")
    if isinstance(user, LazyObject):
        # Who is signed in, once somebody asked; the API puts the owner of a token in its place.
        user = getattr(request, "_cached_user", None)
    return getattr(user, "pk", None)


def _address(request: Any) -> str | None:
    # Needs Django's applications, which are loaded later than this module.
    from allauth.core.internal.httpkit import get_client_ip  # noqa: PLC0415

    try:
        return get_client_ip(request)
    except ImproperlyConfigured:  # It came past a proxy that the settings count on.
        return request.META.get("REMOTE_ADDR")
