"""The stops of a program as they may be shared."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from surveys.models import Program
from surveys.publishing.places import (
    OPEN,
    SharedPlace,
    share_place,
)
from surveys.publishing.queries import (
    STOPS,
    stream,
)


@dataclass(frozen=True, kw_only=True)
class SharedStop:
    """A stop's row of `queries.STOPS`, its label in the tables, and its place as it may be
    shared."""

    row: Any
    label: str
    shared: SharedPlace


def shared_stops(program: Program) -> dict[int, SharedStop]:
    """By primary key, in the order of routes and numbers."""
    return {
        row.id: SharedStop(
            row=row,
            label=_label(row),
            shared=share_place(row.latitude, row.longitude, row.level),
        )
        for row in stream(STOPS, {"program": program.pk})
    }


def named_routes(stops: Iterable[SharedStop], *, exact: bool = False) -> set[str]:
    """Codes of the routes whose names, and those of their stops, may be given; with `exact`, of
    all."""
    return {stop.row.route for stop in stops if exact or stop.row.level == OPEN}


def _label(row: Any) -> str:
    """A stop that was moved is a new stop: the later ones carry the day they came into use."""
    first = f"{row.route}_{row.number}"
    return first if row.generation == 1 else f"{first}_{row.active_from:%Y%m%d}"
