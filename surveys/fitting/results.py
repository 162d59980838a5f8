"""How results are stored: plain JSON values, and back unchanged."""

import math
from typing import Any, TypeVar

from cattrs.errors import BaseValidationError
from cattrs.preconf.json import make_converter

T = TypeVar("T")

_converter = make_converter(forbid_extra_keys=True)
# JSON knows no infinity and no NaN: both are stored as null.
_converter.register_unstructure_hook(float, lambda x: float(x) if math.isfinite(x) else None)


class UnreadableResultError(ValueError):
    """Stored values that do not have the shape of a result."""


def to_json(value: object) -> Any:
    """A result as dicts, lists, strings and numbers."""
    return _converter.unstructure(value)


def from_json(kind: type[T], data: object) -> T:
    """The ``kind`` of result that ``to_json`` wrote.

    Raises UnreadableResultError when another version of the software wrote another shape.
    """
    try:
        return _converter.structure(data, kind)
    except (BaseValidationError, AttributeError, TypeError, ValueError) as error:
        raise UnreadableResultError(f"These values are no {kind.__name__}.") from error
