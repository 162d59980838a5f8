"""How often hints on recordings were right, as cells of their published table."""

from __future__ import annotations

from collections.abc import Iterator

from surveys.models import Program
from surveys.visits.blind.hint_errors import hint_errors


def hint_cells(program: Program, last_year: int) -> Iterator[list[object]]:
    for year in reversed(hint_errors(program)):
        if year.season_year > last_year:
            continue
        hinted, wrong = year.wrong.whole, year.wrong.part
        limits = year.wrong.limits if hinted else (None, None)
        yield [year.season_year, year.named.whole, hinted, wrong, *limits]
