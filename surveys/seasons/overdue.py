"""Visits that are due and not submitted: which route, which window, how urgent, who surveys it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum

from surveys.programs.cover import Cover
from surveys.programs.schedule import DueWindow
from surveys.seasons.coverage import Coverage, CoverageRow, CoverageTable

CLOSES_SOON = dt.timedelta(days=7)


class Urgency(StrEnum):
    """In the order in which a coordinator looks at them."""

    CLOSING = "closing"
    HALF_GONE = "half gone"
    MISSED = "missed"


@dataclass(frozen=True, kw_only=True)
class OverdueVisit:
    """`cover` tells who will go, and who of those assigned cannot or has left."""

    route: CoverageRow
    window: DueWindow
    urgency: Urgency
    cover: Cover


def urgency_of(window: DueWindow, today: dt.date) -> Urgency | None:
    """How urgent a visit is that nobody has submitted in the window yet; None: it can wait."""
    if window.closes < today:
        return Urgency.MISSED
    if today < window.opens:
        return None
    if window.closes - today <= CLOSES_SOON:
        return Urgency.CLOSING
    gone, left = today - window.opens, window.closes - today + dt.timedelta(days=1)
    return Urgency.HALF_GONE if gone >= left else None


def overdue_visits(table: CoverageTable, today: dt.date) -> list[OverdueVisit]:
    """The most urgent first; of those missed, the latest first."""
    return sorted(_overdue(table, today), key=_order)


def _overdue(table: CoverageTable, today: dt.date) -> Iterator[OverdueVisit]:
    for row in table.rows:
        for cell in row.cells:
            if cell is None or cell.coverage not in (Coverage.DUE, Coverage.MISSED):
                continue
            urgency = urgency_of(cell.window, today)
            if urgency is not None:
                yield OverdueVisit(
                    route=row,
                    window=cell.window,
                    urgency=urgency,
                    cover=cell.cover,
                )


def _order(visit: OverdueVisit) -> tuple[int, int, str]:
    closes = visit.window.closes.toordinal()
    is_missed = visit.urgency is Urgency.MISSED
    return list(Urgency).index(visit.urgency), -closes if is_missed else closes, visit.route.code
