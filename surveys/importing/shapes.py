"""Tables put into the shape that is gathered: a row for each stop, with nothing left to the eye.

People write a route once and leave the cells below it empty, add totals, and give a whole visit
one row with a column for each stop and species.
"""

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace

from surveys.importing.columns import Choice, is_long
from surveys.importing.fields import plain
from surveys.importing.table import MOST_DIFFERENT, DifferentCells, Row, Table, made_of
from surveys.language import said_of
from surveys.visits.sheet.texts import is_missing

STOP_HEADER = "Stop"
_STOP_FIRST = re.compile(r"(?:stop|st|station|point|s|p)?[\s.#_]*(\d{1,2})[\s.:_)-]+(\D.*)", re.I)
_STOP_LAST = re.compile(r"(.*\D)[\s.,:_(-]+(?:stop|st|station|point|s|p)[\s.#_]*(\d{1,2})\)?", re.I)
_TOTAL = re.compile(r"(?:(?:grand|sub)[\s-]*)?(?:totals?|sums?|means?|averages?)\b.*", re.I)
_REPEATED = ("route", "night", "observer")
_FEWEST_STOPS = 2


def spread(table: Table) -> Table:
    """A row for each stop of a visit, of a table with a row for each visit; others unchanged.

    Such a table has the same columns again for each stop, named `Stop 1 Wood frog` or
    `Wood frog S1`, and no column for the stop number.
    """
    parts: dict[int, dict[str, int]] = {}
    common = []
    for position, header in enumerate(table.headers):
        found = _stop_and_name(header)
        if found is None:
            common.append(position)
        else:
            parts.setdefault(found[0], {})[found[1]] = position
    names = list(dict.fromkeys(name for columns in parts.values() for name in columns))
    repeated = [name for name in names if sum(name in c for c in parts.values()) > 1]
    has_stop = any(plain(table.headers[position]) in ("stop", "stop number") for position in common)
    if len(parts) < _FEWEST_STOPS or not repeated or has_stop:
        return table
    headers = [*(table.headers[position] for position in common), STOP_HEADER, *names]

    def by_stop(rows: Iterable[Row]) -> Iterator[Row]:
        for row in rows:
            shared = [row.texts[position] for position in common]
            for stop in sorted(parts):
                columns = parts[stop]
                own = [row.texts[columns[name]] if name in columns else "" for name in names]
                texts = (*shared, str(stop), *own)
                yield Row(number=row.number, texts=texts, part=f"{STOP_HEADER} {stop} ")

    return replace(
        table,
        headers=tuple(headers),
        rows=made_of(table.rows, by_stop, len(table.rows) * len(parts)),
        in_parts=frozenset(names),
        different=_different_by_stop(table, common, parts, names),
    )


def _different_by_stop(
    table: Table,
    common: Sequence[int],
    parts: Mapping[int, Mapping[str, int]],
    names: Sequence[str],
) -> tuple[tuple[str, ...], ...] | None:
    """The different cells of the columns that `spread` makes, from those of the table."""
    if table.different is None:
        return None
    merged = []
    for name in names:
        cells = DifferentCells(1)
        for columns in parts.values():
            for text in table.different[columns[name]] if name in columns else ("",):
                cells.add((text,))
        merged += cells.by_column
    stops = tuple(str(stop) for stop in sorted(parts))
    return (*(table.different[position] for position in common), stops, *merged)


def _stop_and_name(header: str) -> tuple[int, str] | None:
    if match := _STOP_FIRST.fullmatch(header):
        return int(match[1]), match[2].strip()
    if match := _STOP_LAST.fullmatch(header):
        return int(match[2]), match[1].strip()
    return None


def has_gaps(table: Table, choices: Sequence[Choice]) -> bool:
    """Whether the route or the date stands in the first row of a visit only."""
    positions = _positions(choices)
    for code in ("route", "night", *(("stop",) if is_long(choices) else ())):
        column = table.different_cells(positions[code]) if code in positions else []
        if column and column[0] and not all(column):
            return True
    return False


def without_totals(table: Table, choices: Sequence[Choice]) -> Table:
    """Without rows that say in place of a route, a date, a stop or a species that they are a
    total; a notice says which."""
    positions = _positions(choices)
    columns = [positions[c] for c in ("route", "night", "stop", "species") if c in positions]
    may_be_totals = any(
        len(table.different_cells(column)) >= MOST_DIFFERENT
        or any(map(_TOTAL.fullmatch, table.different_cells(column)))
        for column in columns
    )
    totals = may_be_totals and {
        row.number
        for row in table.rows
        if any(_TOTAL.fullmatch(row.texts[column]) for column in columns)
    }
    if not totals:
        return table
    numbers = sorted(totals)
    notice = said_of(
        "Row {first} holds totals and was not read.",
        "{number} rows hold totals and were not read. The first is row {first}.",
        len(numbers),
        first=numbers[0],
    )
    return replace(
        table,
        rows=made_of(table.rows, lambda rows: (r for r in rows if r.number not in totals)),
        notices=(*table.notices, notice),
        different=None,
    )


def filled_down(table: Table, choices: Sequence[Choice]) -> Table:
    """With the route, the date and the observer of the row above, where they are empty; in the
    long form the stop, too, as long as the visit is the same."""
    positions = _positions(choices)
    columns = [positions[code] for code in _REPEATED if code in positions]
    stop = positions.get("stop") if is_long(choices) else None
    rows = made_of(table.rows, lambda rows: _filled_down(rows, columns, stop))
    return replace(table, rows=rows, different=None)


def _filled_down(rows: Iterable[Row], columns: Sequence[int], stop: int | None) -> Iterator[Row]:
    above: dict[int, str] = {}
    for row in rows:
        filled = {}
        begins = False
        for column in columns:
            if row.texts[column].strip():
                begins = begins or row.texts[column] != above.get(column)
                above[column] = row.texts[column]
            elif above.get(column) and not begins:
                filled[column] = above[column]
            else:
                above[column] = ""
        if stop is not None:
            if is_missing(row.texts[stop]) and not begins and above.get(stop):
                filled[stop] = above[stop]
            else:
                above[stop] = row.texts[stop]
        yield with_texts(row, filled) if filled else row


def with_texts(row: Row, changed: Mapping[int, str]) -> Row:
    """The row with other texts in some columns; what was written is kept beside them."""
    texts = tuple(changed.get(position, text) for position, text in enumerate(row.texts))
    return replace(row, texts=texts, written=row.as_written)


def _positions(choices: Sequence[Choice]) -> dict[str, int]:
    return {c.field.code: position for position, c in enumerate(choices) if c.field is not None}
