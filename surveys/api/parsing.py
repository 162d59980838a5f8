"""Bodies of requests: JSON of a bounded size and depth."""

from __future__ import annotations

from collections.abc import Mapping
from typing import IO, Any

from django.conf import settings
from django.core.exceptions import RequestDataTooBig
from rest_framework.exceptions import ParseError
from rest_framework.parsers import JSONParser

from surveys.language import gettext


class BoundedJSONParser(JSONParser):
    def parse(
        self,
        stream: IO[bytes],
        media_type: str | None = None,
        parser_context: Mapping[str, Any] | None = None,
    ) -> Any:
        """Raises ParseError, RequestDataTooBig."""
        # Read as a stream, so Django's own limit is not applied.
        length = stream.META.get("CONTENT_LENGTH") or 0 if hasattr(stream, "META") else 0
        if int(length) > settings.DATA_UPLOAD_MAX_MEMORY_SIZE:
            raise RequestDataTooBig
        try:
            return super().parse(stream, media_type, parser_context)
        except RecursionError:
            raise ParseError(gettext("The JSON is nested too deep to be read.")) from None
