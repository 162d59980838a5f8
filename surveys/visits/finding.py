"""Which stop, field or cell a finding is about."""

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


def where_of(finding: Finding | StoredFinding) -> Where:
    """What a finding is about, whether it comes from the rules or from the database."""
    if isinstance(finding, Finding):
        return finding.where
    return Where(
        stop=finding.stop.number if finding.stop else None,
        field=finding.field or None,
        species=finding.species.code if finding.species else None,
    )


def findings_by_cell(findings: Iterable[AnyFinding]) -> dict[str, list[AnyFinding]]:
    """Findings by the address of the cell they are about; "" when it is no single cell."""
    cells: dict[str, list[AnyFinding]] = defaultdict(list)
    for finding in findings:
        cells[cell_of(where_of(finding))].append(finding)
    return dict(cells)
