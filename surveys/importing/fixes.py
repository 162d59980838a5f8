"""What the coordinator decided about cells that could not be read: once for all rows."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import asdict, dataclass, replace
from typing import Any

from surveys.importing.shapes import with_texts
from surveys.importing.table import Row, Table, made_of


@dataclass(frozen=True, kw_only=True)
class Fix:
    """What is `written` in a column is read as `becomes`; None leaves its rows out. `row` 0 is
    every row. Without a column, the row itself is left out."""

    column: str
    written: str
    becomes: str | None
    row: int = 0

    @property
    def plain(self) -> dict[str, Any]:
        return asdict(self)

    @property
    def key(self) -> tuple[str, str, int]:
        return self.column, self.written, self.row


def fixes_of(plain: Iterable[Mapping[str, Any]]) -> tuple[Fix, ...]:
    return tuple(Fix(**fix) for fix in plain)


def merged(before: Iterable[Fix], new: Iterable[Fix]) -> tuple[Fix, ...]:
    """Both; a new fix of the same cells is the one that holds."""
    by_key = {fix.key: fix for fix in (*before, *new)}
    return tuple(by_key.values())


def fixed(table: Table, fixes: Iterable[Fix]) -> Table:
    """The table as it is read with the fixes; rows that are left out are gone."""
    by_key = {fix.key: fix for fix in fixes}
    if not by_key:
        return table
    positions = {
        header: position
        for position, header in enumerate(table.headers)
        if any(header == column for column, _, _ in by_key)
    }

    def with_fixes(rows: Iterable[Row]) -> Iterator[Row]:
        mended = (_fixed_row(row, positions, by_key) for row in rows)
        return (row for row in mended if row is not None)

    return replace(table, rows=made_of(table.rows, with_fixes), different=None)


def _fixed_row(
    row: Row, positions: Mapping[str, int], by_key: Mapping[tuple[str, str, int], Fix]
) -> Row | None:
    if ("", "", row.number) in by_key:
        return None
    changed = {}
    for header, position in positions.items():
        written = row.texts[position]
        seen = set()
        # What a fix made of a cell may need a fix of its own.
        while fix := _fix_of(by_key, header, written, row.number):
            if fix.becomes is None:
                return None
            changed[position] = written = fix.becomes
            if written in seen:
                break
            seen.add(written)
    return with_texts(row, changed) if changed else row


def _fix_of(
    by_key: Mapping[tuple[str, str, int], Fix], column: str, written: str, row: int
) -> Fix | None:
    return by_key.get((column, written, row)) or by_key.get((column, written, 0))
