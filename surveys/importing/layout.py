"""Where in a sheet the column names stand: above the rows, below a title, in one row or two.

Runs in `surveys.bounded`, so it knows neither the database nor Django.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass
from itertools import chain, islice
from typing import Any

Line = tuple[int, list[str]]

_LOOKED_AT = 25
_END = b"\n"


@dataclass(frozen=True, kw_only=True)
class Layout:
    """What somebody chose; empty and 0 are found by themselves. `names_row` is the number beside
    the last row of column names, `name_rows` how many rows they take."""

    sheet: str = ""
    names_row: int = 0
    name_rows: int = 0

    @property
    def plain(self) -> dict[str, Any]:
        return asdict(self)

    @property
    def head(self) -> bytes:
        """What is put before the file for the process that reads it."""
        return json.dumps(self.plain).encode() + _END


def taken_apart(payload: bytes) -> tuple[Layout, bytes]:
    head, _, content = payload.partition(_END)
    return Layout(**json.loads(head)), content


@dataclass(frozen=True, kw_only=True)
class Names:
    """The column names, and the number of the last row that they stand in."""

    headers: list[str]
    row: int
    rows: int


def names_and_rows(
    lines: Iterator[Line], layout: Layout
) -> tuple[Names | None, Iterator[Line], int]:
    """The column names, the lines below them, and how many lines above hold something."""
    first = list(islice(lines, max(_LOOKED_AT, layout.names_row + 1)))
    if not first:
        return None, iter(()), 0
    position = _chosen(first, layout.names_row)
    if position is None:
        position = _found(first)
        if not layout.names_row and layout.name_rows != 1 and _has_second_row(first, position):
            position += 1
            rows = 2
        else:
            rows = 2 if position and _is_group_row(first, position) else 1
    else:
        rows = 1
    if layout.name_rows:
        rows = min(layout.name_rows, position + 1)
    headers = _bare(first[position][1])
    if rows == 2:
        headers = _joined(_bare(first[position - 1][1]), headers)
    names = Names(headers=headers, row=first[position][0], rows=rows)
    return names, chain(first[position + 1 :], lines), position - rows + 1


def _bare(texts: Sequence[str]) -> list[str]:
    return [" ".join(text.split()) for text in texts]


def _chosen(lines: Sequence[Line], number: int) -> int | None:
    return next((position for position, line in enumerate(lines) if line[0] == number), None)


def _found(lines: Sequence[Line]) -> int:
    """The first line that fills half as many cells as the widest, mostly with words: titles fill
    one or two cells, and rows hold numbers."""
    most = max(_filled(texts) for _, texts in lines)
    for position, (_, texts) in enumerate(lines[:-1]):
        if _filled(texts) * 2 >= most and _words(texts) * 2 >= _filled(texts):
            return position
    return 0


def _has_second_row(lines: Sequence[Line], position: int) -> bool:
    """Whether the line below names parts of what stands above: it fills gaps, with words alone."""
    if position + 2 >= len(lines):
        return False
    above, below = lines[position][1], lines[position + 1][1]
    fills_a_gap = any(
        text.strip() and not (above[column].strip() if column < len(above) else "")
        for column, text in enumerate(below)
    )
    has_digits = any(character.isdigit() for text in below for character in text)
    rows_have_digits = any(
        character.isdigit() for text in lines[position + 2][1] for character in text
    )
    return fills_a_gap and not has_digits and rows_have_digits and _filled(below) > 1


def _is_group_row(lines: Sequence[Line], position: int) -> bool:
    """Whether the line above groups columns whose names would be the same without it."""
    above, names = lines[position - 1][1], _bare(lines[position][1])
    named = [name.casefold() for name in names if name]
    return _filled(above) > 1 and len(set(named)) < len(named)


def _joined(above: list[str], below: list[str]) -> list[str]:
    """Names of two rows; a name above goes for the columns to its right until the next one."""
    width = max(len(above), len(below))
    above += [""] * (width - len(above))
    below = below + [""] * (width - len(below))
    group, joined = "", []
    for upper, lower in zip(above, below, strict=True):
        group = upper or (group if lower else "")
        joined.append(" ".join(filter(None, (group, lower))))
    return joined


def _filled(texts: Sequence[str]) -> int:
    return sum(bool(text.strip()) for text in texts)


def _words(texts: Sequence[str]) -> int:
    return sum(any(character.isalpha() for character in text) for text in texts)
