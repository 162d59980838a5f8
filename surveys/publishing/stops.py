"""The stops of a program as they may be shared."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from surveys.models import Program
from surveys.protocol.values import Place
from surveys.publishing.places import (
    OPEN,
    SharedPlace,
    share_place,
)
from surveys.publishing.queries import (
    STOPS,
    stream,
)
from surveys.publishing.routeplaces import mean_place


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


def rough_places(stops: Mapping[int, SharedStop]) -> dict[int, Place]:
    """Where the sun and the weather are looked up for each stop: its place as it is shared.

    From the exact place, the times of many sunsets, or the stations that are nearest, would give it
    away. For stops that are withheld it is the middle of the program, to a whole degree.
    """
    if not stops:
        return {}
    middle = mean_place([(stop.row.latitude, stop.row.longitude) for stop in stops.values()])
    sun_places = {}
    for pk, stop in stops.items():
        latitude, longitude = stop.shared.latitude, stop.shared.longitude
        if latitude is None or longitude is None:
            latitude, longitude = float(round(middle[0])), float(round(middle[1]))
        sun_places[pk] = Place(latitude=latitude, longitude=longitude)
    return sun_places


def _label(row: Any) -> str:
    """A stop that was moved is a new stop: the later ones carry the day they came into use."""
    first = f"{row.route}_{row.number}"
    return first if row.generation == 1 else f"{first}_{row.active_from:%Y%m%d}"
