"""Weather that was written down once a visit, though the name of its column does not say so."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import replace
from itertools import islice
from typing import TYPE_CHECKING

from surveys.importing.fields import Field
from surveys.importing.table import Row, Table

if TYPE_CHECKING:
    from surveys.importing.columns import Choice

_AT_THE_START = {
    "air_temperature": "start_air_temperature",
    "beaufort": "start_beaufort",
    "sky": "start_sky",
}
_KEYS = ("route", "night")
_LOOKED_AT = 2_000


def at_the_start(
    table: Table, choices: Sequence[Choice], fields: Sequence[Field]
) -> tuple[Choice, ...]:
    """What is read as the weather at the stop is that at the start of the visit, if its cell is
    filled in the first row of each visit alone, or a row of the file is a whole visit."""
    by_code = {field.code: field for field in fields}
    taken = {choice.field.code for choice in choices if choice.field}
    keys = _positions(choices, _KEYS)
    weather = _positions(choices, _AT_THE_START)
    if table.in_parts:
        once = {p for p in weather if table.headers[p] not in table.in_parts}
    else:
        once = _only_in_first_rows(islice(table.rows, _LOOKED_AT), keys, weather)
    changed = list(choices)
    for position in once:
        code = _AT_THE_START[choices[position].field.code]
        if code not in taken and code in by_code:
            changed[position] = replace(choices[position], field=by_code[code])
    return tuple(changed)


def _positions(choices: Sequence[Choice], codes: Collection[str]) -> list[int]:
    return [p for p, one in enumerate(choices) if one.field and one.field.code in codes]


def _only_in_first_rows(
    rows: Iterable[Row], keys: Sequence[int], columns: Sequence[int]
) -> set[int]:
    """Columns that are filled, and never below the first row of a visit. A visit begins where its
    route or date is another one; where they are empty, it goes on."""
    if not (keys and columns):
        return set()
    visit: list[str] = [""] * len(keys)
    filled, below, has_second_rows = set(), set(), False
    for row in rows:
        here = [row.texts[key] or visit[at] for at, key in enumerate(keys)]
        begins, visit = here != visit, here
        has_second_rows = has_second_rows or not begins
        (filled if begins else below).update(p for p in columns if row.texts[p])
    return filled - below if has_second_rows else set()
