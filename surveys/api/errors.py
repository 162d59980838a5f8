"""Errors of the API: always a sentence, and where it happened."""

from typing import Any

from rest_framework.response import Response
from rest_framework.views import exception_handler


def explain(exception: Exception, context: dict[str, Any]) -> Response | None:
    return exception_handler(exception, context)
