"""What history notes of a request: who, and at which address, without the keys in it."""

from typing import Any

from django.http import HttpRequest
from pghistory.middleware import HistoryMiddleware

from surveys.web.keys import without_keys


class KeylessHistoryMiddleware(HistoryMiddleware):
    def get_context(self, request: HttpRequest) -> dict[str, Any]:
        context = super().get_context(request)
        return context | {"url": without_keys(context["url"])}
