"""Sheets for tests: cells of a plain visit, and the changes that type them."""

import datetime as dt
from collections.abc import Mapping

from accounts.models import Membership
from surveys.models import (
    Route,
    Species,
    Visit,
)
from surveys.visits.drafts import (
    Saved,
    save_cells,
    start_visit,
)
from surveys.visits.sheet.cells import CellChange
from surveys.visits.verbs import submit_visit

NIGHT = dt.date(2024, 4, 15)


def changes(cells: Mapping[str, str], was: Mapping[str, str] | None = None) -> dict:
    """What a device sends when `cells` are typed over what it saw before."""
    return {
        address: CellChange(was=(was or {}).get(address, ""), now=text)
        for address, text in cells.items()
    }


def plain_cells(
    stops: int = 3, heard: Mapping[int, Mapping[Species, object]] | None = None
) -> dict[str, str]:
    """Stops listened to for five minutes each from 21:00, ten minutes apart."""
    cells = {}
    for number in range(1, stops + 1):
        begin = dt.datetime(2024, 4, 15, 20, 50) + dt.timedelta(minutes=10 * number)
        cells[f"stops.{number}.arrived_at"] = f"{begin:%H:%M}"
        cells[f"stops.{number}.started_at"] = f"{begin + dt.timedelta(minutes=1):%H:%M}"
        cells[f"stops.{number}.finished_at"] = f"{begin + dt.timedelta(minutes=6):%H:%M}"
        cells[f"stops.{number}.air_temperature"] = "12.5"
        for species, index in (heard or {}).get(number, {}).items():
            cells[f"stops.{number}.calls.{species.code}"] = str(index)
    return cells


def type_cells(member: Membership, visit: Visit, cells: Mapping[str, str]) -> Saved:
    """Type over whatever the visit holds now."""
    visit.refresh_from_db()
    return save_cells(member, visit.pk, changes(cells, was=visit.cells))


def make_draft(
    member: Membership, route: Route, cells: Mapping[str, str] | None = None, **options
) -> Visit:
    visit = start_visit(member, route=route, **{"night": NIGHT, **options})
    return type_cells(member, visit, plain_cells() if cells is None else cells).visit


def make_submitted(
    member: Membership, route: Route, cells: Mapping[str, str] | None = None, **options
) -> Visit:
    visit = make_draft(member, route, cells, **options)
    return submit_visit(member, visit.pk, revision=visit.revision)
