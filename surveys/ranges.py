"""Serving stored bytes in parts: range requests for bytes, RFC 9110 section 14."""

from __future__ import annotations

import io
import re
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager
from dataclasses import dataclass
from pathlib import Path

from django.db.models.fields.files import FieldFile
from django.http import HttpRequest, HttpResponse, HttpResponseBase, StreamingHttpResponse
from django.utils.cache import get_conditional_response

_BLOCK = 64 * 1024
_ONE_RANGE = re.compile(r"\s*bytes\s*=\s*([0-9]{0,18})\s*-\s*([0-9]{0,18})\s*", re.IGNORECASE)


@dataclass(frozen=True, kw_only=True)
class ByteRange:
    """Bytes `first` to `last`, both included."""

    first: int
    last: int

    @property
    def length(self) -> int:
        return self.last - self.first + 1


class Unsatisfiable(ValueError):  # noqa: N818 - named as RFC 9110 names it
    """The range lies wholly behind the end of the file."""


def read_range(header: str, size: int) -> ByteRange | None:
    """The one range that is asked for, cut to `size`. Raises Unsatisfiable.

    None where the whole file answers: no header, another unit, words that are no range, or
    several ranges (which section 14.2 lets a server ignore).
    """
    match = _ONE_RANGE.fullmatch(header)
    if match is None:
        return None
    first, last = match.groups()
    if not first:
        return _suffix(last, size)
    if last and int(last) < int(first):
        return None
    if int(first) >= size:
        raise Unsatisfiable
    end = min(int(last), size - 1) if last else size - 1
    return ByteRange(first=int(first), last=end)


def _suffix(length: str, size: int) -> ByteRange | None:
    """The last bytes of the file: `bytes=-500`."""
    if not length:
        return None
    if int(length) == 0 or size == 0:
        raise Unsatisfiable
    return ByteRange(first=max(0, size - int(length)), last=size - 1)


Blocks = Callable[[ByteRange], Iterator[bytes]]


def serve(
    request: HttpRequest, blocks: Blocks, *, size: int, etag: str, content_type: str
) -> HttpResponseBase:
    """`size` bytes or a part of them, as `blocks` gives it. `etag`, with its quotes, changes
    whenever a byte does.

    Preconditions come first, then If-Range, then the range (RFC 9110 section 13.2.2).
    """
    early = get_conditional_response(request, etag=etag)
    response = early or _whole_or_part(request, blocks, size, etag, content_type)
    response["Accept-Ranges"] = "bytes"
    response["ETag"] = etag
    return response


def _whole_or_part(
    request: HttpRequest, blocks: Blocks, size: int, etag: str, content_type: str
) -> HttpResponseBase:
    try:
        wanted = read_range(_range_header(request, etag), size)
    except Unsatisfiable:
        refused = HttpResponse(status=416)
        refused["Content-Range"] = f"bytes */{size}"
        return refused
    part = wanted or ByteRange(first=0, last=size - 1)
    body = () if request.method == "HEAD" else blocks(part)
    response = StreamingHttpResponse(body, status=206 if wanted else 200, content_type=content_type)
    response["Content-Length"] = str(part.length)
    if wanted:
        response["Content-Range"] = f"bytes {part.first}-{part.last}/{size}"
    return response


def _range_header(request: HttpRequest, etag: str) -> str:
    """The Range header, unless it is to be ignored: with another method than GET (section
    14.2), or when If-Range names another state of the file (section 13.1.5)."""
    if request.method != "GET":
        return ""
    if request.headers.get("If-Range", etag).strip() != etag:
        return ""
    return request.headers.get("Range", "")


def serve_file(
    request: HttpRequest, file: FieldFile, *, etag: str, content_type: str
) -> HttpResponseBase:
    """The same for a file of the storage. One that can read a part has a method `read_part`:
    to open a file of an object storage is to fetch all of it."""
    storage, name, size = file.storage, file.name, file.size
    if not hasattr(storage, "read_part"):
        return _serve_opened(request, lambda: storage.open(name, "rb"), size, etag, content_type)

    def blocks(part: ByteRange) -> Iterator[bytes]:
        return storage.read_part(name, part.first, part.last) if part.length else iter(())

    return serve(request, blocks, size=size, etag=etag, content_type=content_type)


def serve_path(
    request: HttpRequest, path: Path, *, size: int, etag: str, content_type: str
) -> HttpResponseBase:
    """The same for a file of the server's disk."""
    return _serve_opened(request, lambda: path.open("rb"), size, etag, content_type)


def serve_bytes(
    request: HttpRequest, content: bytes, *, etag: str, content_type: str
) -> HttpResponseBase:
    """The same for bytes that are at hand."""
    return _serve_opened(request, lambda: io.BytesIO(content), len(content), etag, content_type)


def _serve_opened(
    request: HttpRequest,
    open_file: Callable[[], AbstractContextManager],
    size: int,
    etag: str,
    content_type: str,
) -> HttpResponseBase:
    def blocks(part: ByteRange) -> Iterator[bytes]:
        with open_file() as opened:
            opened.seek(part.first)
            left = part.length
            while left and (block := opened.read(min(_BLOCK, left))):
                left -= len(block)
                yield block

    return serve(request, blocks, size=size, etag=etag, content_type=content_type)
