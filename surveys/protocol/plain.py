"""Protocol values as plain JSON-ready data, and back.

The form: an object has the names of the dataclass; a key that is left out takes the
default. Dates `2024-04-15`; instants `2024-04-16T01:15:00Z`; durations in seconds;
clock times `01:00`; month-days `04-15`; temperatures `{"value": "42", "unit": "F"}`;
exact numbers as strings; sets as sorted lists; keys of a mapping as strings.
"""

from __future__ import annotations

import dataclasses
import datetime as dt
import types
from collections.abc import Callable, Mapping
from decimal import Decimal, InvalidOperation
from enum import Enum
from functools import lru_cache
from typing import Any, TypeVar, Union, get_args, get_origin, get_type_hints

from surveys.protocol.values import MonthDay
from surveys.protocol.weather import plain_number

T = TypeVar("T")

_LEAP_YEAR = 2000


class PlainError(ValueError):
    """Plain data that cannot be read; the message says where and what was expected."""


def to_plain(value: object) -> Any:
    """A protocol value as dicts, lists, strings and numbers. Every field is written."""
    for kind, write in _WRITERS:
        if isinstance(value, kind):
            return write(value)
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {f.name: to_plain(getattr(value, f.name)) for f in dataclasses.fields(value)}
    if value is None or isinstance(value, str | int | float):
        return value
    raise TypeError(f"{type(value).__name__} has no plain form.")


def from_plain(kind: type[T], data: object, *, at: str = "") -> T:
    """Read a value of `kind` from its plain form.

    Raises PlainError naming the path, such as `windows[0].opens`.
    """
    result: T = _read(kind, data, at or kind.__name__.lower())
    return result


def _read(kind: Any, data: object, at: str) -> Any:
    origin, parts = get_origin(kind), get_args(kind)
    if origin in (Union, types.UnionType):
        inner = next(part for part in parts if part is not types.NoneType)
        return None if data is None else _read(inner, data, at)
    if origin is tuple:
        items = _as_list(data, at)
        kinds = parts[:1] * len(items) if parts[-1] is Ellipsis else parts
        if len(kinds) != len(items):
            raise PlainError(f"{at}: {len(parts)} values are expected, not {len(items)}.")
        return tuple(
            _read(k, item, f"{at}[{i}]")
            for i, (k, item) in enumerate(zip(kinds, items, strict=True))
        )
    if origin is frozenset:
        return frozenset(
            _read(parts[0], item, f"{at}[{i}]") for i, item in enumerate(_as_list(data, at))
        )
    if origin is Mapping:
        return {
            _read_key(parts[0], key, at): _read(parts[1], item, f"{at}.{key}")
            for key, item in _as_dict(data, at).items()
        }
    return _read_one(kind, data, at)


def _read_one(kind: Any, data: object, at: str) -> Any:
    if kind in _READERS:
        expected, types_, read = _READERS[kind]
        if isinstance(data, types_) and not (isinstance(data, bool) and kind is not bool):
            try:
                return read(data)
            except (ValueError, TypeError, InvalidOperation, OverflowError):
                pass
        raise PlainError(f"{at}: {data!r} is not {expected}.")
    if issubclass(kind, Enum):
        known = [member.value for member in kind]
        if data not in known:
            raise PlainError(f"{at}: {data!r} is not one of {', '.join(map(str, known))}.")
        return kind(data)
    return _read_object(kind, _as_dict(data, at), at)


def _read_object(kind: Any, data: Mapping[str, object], at: str) -> Any:
    hints = _hints(kind)
    unknown = sorted(data.keys() - hints.keys())
    if unknown:
        raise PlainError(f"{at}: there is no field {', '.join(unknown)}.")
    wanted = [f.name for f in dataclasses.fields(kind) if not _has_default(f)]
    left_out = [name for name in wanted if name not in data]
    if left_out:
        raise PlainError(f"{at}: {', '.join(left_out)} is left out.")
    return kind(**{name: _read(hints[name], data[name], f"{at}.{name}") for name in data})


def _has_default(field: dataclasses.Field[Any]) -> bool:
    return not (
        field.default is dataclasses.MISSING and field.default_factory is dataclasses.MISSING
    )


@lru_cache
def _hints(kind: type) -> dict[str, Any]:
    return get_type_hints(kind)


def _as_list(data: object, at: str) -> list[object]:
    if not isinstance(data, list):
        raise PlainError(f"{at}: a list is expected.")
    return data


def _as_dict(data: object, at: str) -> Mapping[str, object]:
    if not isinstance(data, dict):
        raise PlainError(f"{at}: an object is expected.")
    return data


def _read_key(kind: type, key: str, at: str) -> int | str:
    if kind is str:
        return key
    if not key.isdecimal():
        raise PlainError(f"{at}: the key {key!r} is not a stop number.")
    return int(key)


def _read_instant(text: str) -> dt.datetime:
    instant = dt.datetime.fromisoformat(text)
    if instant.tzinfo is None:
        raise ValueError
    return instant.astimezone(dt.UTC)


def _read_month_day(text: str) -> MonthDay:
    date = dt.date.fromisoformat(f"{_LEAP_YEAR}-{text}")
    return MonthDay(month=date.month, day=date.day)


def _read_decimal(text: str) -> Decimal:
    number = Decimal(text)
    if not number.is_finite():
        raise ValueError
    return number


def _read_float(number: float) -> float:
    if number != number or abs(number) == float("inf"):
        raise ValueError
    return float(number)


def _write_instant(instant: dt.datetime) -> str:
    return instant.astimezone(dt.UTC).isoformat().replace("+00:00", "Z")


def _write_seconds(length: dt.timedelta) -> int | float:
    seconds = length.total_seconds()
    return int(seconds) if seconds.is_integer() else seconds


def _write_clock(clock: dt.time) -> str:
    return clock.isoformat("auto" if clock.second or clock.microsecond else "minutes")


_WRITERS: tuple[tuple[type, Callable[[Any], Any]], ...] = (
    (Enum, lambda member: member.value),
    (MonthDay, lambda day: f"{day.month:02}-{day.day:02}"),
    (Decimal, lambda number: plain_number(number).replace("−", "-")),
    (dt.datetime, _write_instant),
    (dt.date, dt.date.isoformat),
    (dt.time, _write_clock),
    (dt.timedelta, _write_seconds),
    (frozenset, lambda values: sorted(to_plain(value) for value in values)),
    (tuple, lambda values: [to_plain(value) for value in values]),
    (Mapping, lambda values: {str(key): to_plain(value) for key, value in values.items()}),
)

_READERS: dict[Any, tuple[str, type | tuple[type, ...], Callable[[Any], Any]]] = {
    str: ("a text", str, str),
    bool: ("true or false", bool, bool),
    int: ("a whole number", int, int),
    float: ("a number", (int, float), _read_float),
    Decimal: ("an exact number such as “42”", (str, int), lambda v: _read_decimal(str(v))),
    dt.date: ("a date such as 2024-04-15", str, dt.date.fromisoformat),
    dt.datetime: ("an instant such as 2024-04-16T01:15:00Z", str, _read_instant),
    dt.time: ("a clock time such as 01:00", str, dt.time.fromisoformat),
    dt.timedelta: (
        "a number of seconds",
        (int, float),
        lambda v: dt.timedelta(seconds=_read_float(v)),
    ),
    MonthDay: ("a day of the year such as 04-15", str, _read_month_day),
}
