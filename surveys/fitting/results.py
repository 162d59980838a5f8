"""How a fit is stored: plain values that go through JSON and back unchanged."""

import math
from typing import Any

from surveys.protocol.plain import from_plain, to_plain
from surveys.trends.species_result import SpeciesResult


def to_json(result: SpeciesResult) -> dict[str, Any]:
    """Numbers that JSON does not know (not a number, infinity) become null."""
    return _finite(to_plain(result))


def from_json(data: dict[str, Any]) -> SpeciesResult:
    return from_plain(SpeciesResult, data)


def _finite(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _finite(one) for key, one in value.items()}
    if isinstance(value, list):
        return [_finite(one) for one in value]
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value
