"""Charts as files, drawn once for each state of the data."""

import hashlib
import json
from typing import Any

from django.core.cache import cache
from django.http import HttpRequest, HttpResponse
from django.utils.cache import get_conditional_response

from surveys.charts import shares

MEDIA_TYPES = {"svg": "image/svg+xml", "png": "image/png"}
_KEPT_S = 7 * 24 * 3600


def picture(request: HttpRequest, spec: dict[str, Any], form: str, *, stem: str) -> HttpResponse:
    """The rendered specification as `stem`.svg or `stem`.png; a file to keep with `?download`.

    Drawing takes about a second, so the result is kept under a checksum of the specification.
    `?size=phone` asks for the narrow picture.
    """
    if request.GET.get("size") == "phone":
        spec, stem = shares.narrow(spec), f"{stem}-narrow"
    digest = hashlib.sha256(f"{form}|{json.dumps(spec)}".encode()).hexdigest()
    etag = f'"{digest}"'
    unchanged = get_conditional_response(request, etag=etag)
    if unchanged is not None:
        return unchanged
    body = cache.get(f"chart:{digest}")
    if body is None:
        body = shares.to_png(spec) if form == "png" else shares.to_svg(spec).encode()
        cache.set(f"chart:{digest}", body, _KEPT_S)
    kind = "attachment" if "download" in request.GET else "inline"
    return HttpResponse(
        body,
        content_type=MEDIA_TYPES[form],
        headers={
            "ETag": etag,
            "Content-Disposition": f'{kind}; filename="{stem}.{form}"',
        },
    )
