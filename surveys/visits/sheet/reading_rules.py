"""The problems that reading a sheet can report, before the protocol's rules are applied."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from surveys.protocol.params import Param
from surveys.protocol.values import (
    Finding,
    Severity,
    Where,
)


@dataclass(frozen=True, kw_only=True)
class ReadingRule:
    """A requirement on the cells of a sheet; `summary` is one sentence for lists. The phone has the
    same where it is not `only_here`: there it needs what no phone takes along."""

    code: str
    severity: Severity
    summary: str
    only_here: bool


_ONLY_HERE = (
    "species-unknown",
    "sighting-incomplete",
    "sighting-stop-unknown",
    "night-missing",
    "night-without-protocol",
)
_REFUSE, _QUERY, _NOTE = Severity.REFUSE, Severity.QUERY, Severity.NOTE

READING_RULES: tuple[ReadingRule, ...] = tuple(
    ReadingRule(code=code, severity=severity, summary=summary, only_here=code in _ONLY_HERE)
    for code, severity, summary in (
        ("cell-unreadable", _REFUSE, "Every filled cell can be read."),
        ("cell-out-of-range", _REFUSE, "Every number is possible."),
        ("cell-too-long", _REFUSE, "Every text fits its place."),
        ("cell-unknown", _NOTE, "Every cell belongs to the sheet."),
        ("clock-repeated", _REFUSE, "A time that came twice is marked as the first or the second."),
        ("clock-skipped", _REFUSE, "No time is in the hour that the clocks skipped."),
        ("clock-by-day", _QUERY, "No time is in the middle of the day."),
        ("status-unclear", _REFUSE, "A stop with entries is marked as surveyed or skipped."),
        ("skipped-with-times", _REFUSE, "A skipped stop has no listening times."),
        ("skip-reason-missing", _NOTE, "A skipped stop has a reason."),
        ("position-incomplete", _NOTE, "A measured position has latitude and longitude."),
        ("species-unknown", _REFUSE, "Every species is in the catalog."),
        ("sighting-incomplete", _REFUSE, "Every sighting has a species and a life stage."),
        ("sighting-stop-unknown", _REFUSE, "Every sighting's stop belongs to the route."),
        ("night-missing", _REFUSE, "The date of the night is there."),
        ("night-without-protocol", _REFUSE, "A protocol version was in effect on the night."),
    )
)

READING_RULES_BY_CODE = {rule.code: rule for rule in READING_RULES}


def problem(code: str, where: Where, variant: str, params: Mapping[str, Param]) -> Finding:
    """A finding of the reading rule `code`, with the rule's severity."""
    return Finding(
        code=code,
        severity=READING_RULES_BY_CODE[code].severity,
        where=where,
        variant=variant,
        params=params,
    )
