"""Where findings belong on a page."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from typing import TypeVar

from surveys.models import StoredFinding
from surveys.protocol.values import (
    Finding,
    Where,
)
from surveys.visits.sheet.cells import cell_of

AnyFinding = TypeVar("AnyFinding", Finding, StoredFinding)
Place = tuple[int | None, str | None, str | None]


def where_of(finding: Finding | StoredFinding) -> Where:
    """The place of a finding, whether fresh from the rules or stored."""
    if isinstance(finding, Finding):
        return finding.where
    return Where(
        stop=finding.stop.number if finding.stop else None,
        field=finding.field or None,
        species=finding.species.code if finding.species else None,
    )


def findings_by_place(findings: Iterable[AnyFinding]) -> dict[Place, list[AnyFinding]]:
    """Findings by (stop number, field, species code); all None: the visit as a whole."""
    places: dict[Place, list[AnyFinding]] = defaultdict(list)
    for finding in findings:
        where = where_of(finding)
        places[where.stop, where.field, where.species].append(finding)
    return dict(places)


def findings_by_cell(findings: Iterable[AnyFinding]) -> dict[str, list[AnyFinding]]:
    """Findings by the address of the cell they stand beside; "" for no single cell."""
    cells: dict[str, list[AnyFinding]] = defaultdict(list)
    for finding in findings:
        cells[cell_of(where_of(finding))].append(finding)
    return dict(cells)
