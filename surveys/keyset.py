"""Pages of a list by the key of a row, not by counting rows: quick at any depth, and nothing is
shown twice or missed when rows come and go meanwhile."""

from __future__ import annotations

import base64
import binascii
import datetime as dt
import json
import uuid
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from django.core.exceptions import ValidationError
from django.db.models import Model, Q, QuerySet

_AFTER, _BEFORE = "a", "b"


@dataclass(frozen=True)
class Key:
    """Names as in `order_by`, `-name` downward. None is null, and the last is unique."""

    names: tuple[str, ...]

    def after(self, rows: QuerySet, values: Sequence[Any]) -> QuerySet:
        return rows.filter(self._beyond(values)).order_by(*self.names)

    def before(self, rows: QuerySet, values: Sequence[Any]) -> QuerySet:
        """The nearest first."""
        return self.reverse.after(rows, values)

    def of(self, row: Model) -> list[Any]:
        return [_value(row, name.lstrip("-")) for name in self.names]

    @property
    def reverse(self) -> Key:
        return Key(tuple(n[1:] if n.startswith("-") else f"-{n}" for n in self.names))

    def _beyond(self, values: Sequence[Any]) -> Q:
        beyond, same = Q(), Q()
        for name, value in zip(self.names, values, strict=True):
            field, step = (name[1:], "lt") if name.startswith("-") else (name, "gt")
            beyond |= same & Q(**{f"{field}__{step}": value})
            same &= Q(**{field: value})
        return beyond


@dataclass(frozen=True, kw_only=True)
class Page:
    """Rows with the cursors of the pages beside them, None at the ends."""

    rows: list[Any]
    previous: str | None
    next: str | None

    def __iter__(self):
        return iter(self.rows)

    def __len__(self) -> int:
        return len(self.rows)


def page_of(rows: QuerySet, key: Key, size: int, cursor: str | None = None) -> Page:
    """The page at a cursor; the first one without, or when it is none of this list."""
    side, values = _read(cursor, len(key.names))
    try:
        if side == _BEFORE:
            return _page_before(rows, key, size, values)
        selected = key.after(rows, values) if side == _AFTER else rows.order_by(*key.names)
    except (ValidationError, ValueError, TypeError):
        side, selected = "", rows.order_by(*key.names)
    found = list(selected[: size + 1])
    if side and not found:
        # What was after the cursor is gone meanwhile.
        return page_of(rows, key, size)
    page = found[:size]
    return Page(
        rows=page,
        previous=_written(_BEFORE, key.of(page[0])) if side else None,
        next=_written(_AFTER, key.of(page[-1])) if len(found) > size else None,
    )


def _page_before(rows: QuerySet, key: Key, size: int, values: list[Any]) -> Page:
    found = list(key.before(rows, values)[: size + 1])
    if len(found) <= size:
        # The beginning: a full page, not what is left of one.
        return page_of(rows, key, size)
    page = found[:size][::-1]
    return Page(
        rows=page,
        previous=_written(_BEFORE, key.of(page[0])),
        next=_written(_AFTER, key.of(page[-1])),
    )


def _value(row: Model, name: str) -> Any:
    for part in name.split("__"):
        row = getattr(row, part)
    return row


def _written(side: str, values: list[Any]) -> str:
    def plain(value: Any) -> Any:
        if isinstance(value, dt.date | dt.datetime):
            return value.isoformat()
        return str(value) if isinstance(value, uuid.UUID) else value

    text = json.dumps([side, *map(plain, values)])
    return base64.urlsafe_b64encode(text.encode()).decode().rstrip("=")


def _read(cursor: str | None, parts: int) -> tuple[str, list[Any]]:
    try:
        text = (cursor or "").encode()
        side, *values = json.loads(base64.urlsafe_b64decode(text + b"=" * (-len(text) % 4)))
    except (binascii.Error, UnicodeError, ValueError, TypeError, RecursionError):
        return "", []
    known = side in (_AFTER, _BEFORE) and len(values) == parts
    plain = all(isinstance(v, str | int) and "\0" not in str(v) for v in values)
    return (side, values) if known and plain else ("", [])
