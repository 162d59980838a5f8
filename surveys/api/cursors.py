"""Opaque cursors for paging: the key of the last row of a page, encoded as text."""

import base64
import binascii
import json
from collections.abc import Sequence

from rest_framework.exceptions import ValidationError

from surveys.language import gettext
from surveys.visits.sheet.cells import storable


def encode_cursor(key: Sequence[str]) -> str:
    return base64.urlsafe_b64encode(json.dumps(list(key)).encode()).decode().rstrip("=")


def decode_cursor(cursor: str, parts: int) -> list[str]:
    """The key in a cursor. Raises ValidationError unless it is a key of `parts` texts."""
    try:
        key = json.loads(base64.urlsafe_b64decode(cursor + "=" * (-len(cursor) % 4)))
    except (binascii.Error, UnicodeError, ValueError, RecursionError):
        key = None
    if not (
        isinstance(key, list)
        and len(key) == parts
        and all(isinstance(part, str) and storable(part) == part for part in key)
    ):
        raise ValidationError(
            {
                "cursor": gettext(
                    "This is not a cursor of this list. Follow `next`, or begin without one."
                )
            }
        )
    return key
