"""A cursor is read back, and nothing else is."""

import base64

import pytest
from rest_framework.exceptions import ValidationError

from surveys.api.cursors import decode_cursor, encode_cursor


def encoded(text: str) -> str:
    return base64.urlsafe_b64encode(text.encode()).decode()


def test_there_and_back():
    assert decode_cursor(encode_cursor(["a", "é"]), 2) == ["a", "é"]


@pytest.mark.parametrize(
    "cursor",
    [
        "nonsense",
        encoded('["a"]'),
        encoded('["a", 1]'),
        encoded(r'["a", "\u0000"]'),
        encoded(r'["a", "\ud800"]'),
        encoded("[" * 60_000),
    ],
    ids=["nonsense", "one part", "number", "NUL", "surrogate", "nested"],
)
def test_anything_else_is_refused(cursor):
    with pytest.raises(ValidationError):
        decode_cursor(cursor, 2)
