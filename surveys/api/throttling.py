"""Limits the requests of a person or token in an hour. They are counted in the database, across
all processes. Responses carry the headers of draft-ietf-httpapi-ratelimit-headers-10 and, above
the limit, `Retry-After` (RFC 9110, 10.2.3).
"""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass

from django.conf import settings
from django.db import connection
from django.utils import timezone
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.throttling import BaseThrottle

from surveys.replica import on_primary

POLICY = "hour"
WINDOW_S = 3600

# One row per key: start a window when there is none or it has expired, else increment.
_COUNT = """
INSERT INTO accounts_requestcount AS counted (key, begun_at, requests)
VALUES (%(key)s, %(now)s, 1)
ON CONFLICT (key) DO UPDATE SET
    requests = CASE WHEN counted.begun_at <= %(expired)s THEN 1 ELSE counted.requests + 1 END,
    begun_at = CASE WHEN counted.begun_at <= %(expired)s THEN %(now)s ELSE counted.begun_at END
RETURNING begun_at, requests
"""


@dataclass(frozen=True, kw_only=True)
class RateLimitStatus:
    """Requests left in the current window, and the seconds until the next one."""

    limit: int
    remaining: int
    reset_s: int
    allowed: bool


def count_request(key: str, limit: int, now: dt.datetime) -> RateLimitStatus:
    window = dt.timedelta(seconds=WINDOW_S)
    with on_primary(), connection.cursor() as cursor:
        cursor.execute(_COUNT, {"key": key, "now": now, "expired": now - window})
        begun_at, requests = cursor.fetchone()
    return RateLimitStatus(
        limit=limit,
        remaining=max(0, limit - requests),
        reset_s=max(1, math.ceil((begun_at + window - now).total_seconds())),
        allowed=requests <= limit,
    )


class HourlyLimit(BaseThrottle):
    """Limits each token and each signed-in person to settings.API_REQUESTS_AN_HOUR."""

    def allow_request(self, request: Request, view: object) -> bool:
        if not request.user.is_authenticated:
            return True
        key = f"token:{request.auth.handle}" if request.auth else f"person:{request.user.pk}"
        self.status = count_request(key, settings.API_REQUESTS_AN_HOUR, timezone.now())
        request.rate_limit = self.status
        return self.status.allowed

    def wait(self) -> float:
        return self.status.reset_s


def add_rate_limit_headers(request: Request, response: Response) -> None:
    """Add the headers of the rate limit, unless the request was not counted."""
    status: RateLimitStatus | None = getattr(request, "rate_limit", None)
    if status is None:
        return
    response["RateLimit-Policy"] = f'"{POLICY}";q={status.limit};w={WINDOW_S}'
    response["RateLimit"] = f'"{POLICY}";r={status.remaining};t={status.reset_s}'
