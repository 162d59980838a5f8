"""Findings of visits from old files, as somebody can work through who was not there.

Nobody can be asked about a night of fifteen years ago. What the sheet of that time had no place
for, such as the time of arrival, is a note: there is nothing to decide. What is found at several
stops is one finding of its rule, with all its stops.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import replace

from surveys.protocol import params
from surveys.protocol.values import Finding, Severity

ALSO_AT = "also_at"
# Rules that miss a value that the sheet may not have asked for.
NOT_ASKED = frozenset(
    {
        "distance-missing",
        "index-missing",
        "noise-missing",
        "own-field-missing",
        "sky-missing",
        "temperature-missing",
        "times-missing",
        "water-temperature-missing",
        "wind-missing",
    }
)


def as_archive(findings: Iterable[Finding], *, listened: int) -> tuple[Finding, ...]:
    """The findings of a rule, and a species, in one; `listened` is the number of stops that were
    surveyed. A value that is there at some stops and missing at others stays a question."""
    groups: dict[tuple[object, ...], list[Finding]] = defaultdict(list)
    for number, finding in enumerate(findings):
        where = finding.where
        single = where.stop is None or finding.severity is Severity.REFUSE
        key: tuple[object, ...] = (finding.code, finding.severity, where.species)
        groups[(number,) if single else key].append(finding)
    return tuple(_one(found, listened) for found in groups.values())


def _one(found: list[Finding], listened: int) -> Finding:
    first = found[0]
    stops = {finding.where.stop for finding in found if finding.where.stop is not None}
    others = stops - {first.where.stop}
    if others:
        first = replace(first, params={**first.params, ALSO_AT: params.stops(others)})
    everywhere = first.where.stop is None or len(stops) >= listened
    if everywhere and first.code in NOT_ASKED and first.severity is Severity.QUERY:
        return replace(first, severity=Severity.NOTE)
    return first
