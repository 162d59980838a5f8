"""What a publication says of each species, read from its frozen tables."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from surveys.dates import span
from surveys.protocol.values import MonthDay
from surveys.publishing.frozen import Frozen
from surveys.trends import SpeciesResult
from surveys.trends.result_tables import Nights, result_from_rows


@dataclass(frozen=True, kw_only=True)
class SpeciesSummary:
    """A species of the checklist with its results; ``calling`` is its calling season in words."""

    name: str
    scientific_name: str
    is_group: bool
    calling: str
    result: SpeciesResult


def species_summaries(frozen: Frozen, *, site: str) -> list[SpeciesSummary]:
    """Every species of the checklist, in its order."""
    years: dict[str, list[Mapping[str, Any]]] = {}
    for row in frozen.records("occupancy"):
        if row["site"] == site:
            years.setdefault(row["species"], []).append(row)
    trends = {row["species"]: row for row in frozen.records("trends") if row["site"] == site}
    checks: dict[str, list[Mapping[str, Any]]] = {}
    for row in frozen.records("sensitivity"):
        if row["site"] == site:
            checks.setdefault(row["species"], []).append(row)
    nights: dict[str, dict[int, Nights]] = {}
    for row in frozen.records("yearly"):
        of_species = nights.setdefault(row["species"], {})
        of_species[row["season_year"]] = (row["first_night"], row["last_night"])
    return [
        SpeciesSummary(
            name=entry["common_name"],
            scientific_name=name,
            is_group=bool(entry["is_group"]),
            calling=_calling(entry),
            result=result_from_rows(
                years.get(name, ()),
                trends.get(name, {}),
                nights.get(name, {}),
                checks.get(name, ()),
            ),
        )
        for entry in frozen.records("checklist")
        for name in (entry["species"],)
    ]


def _calling(entry: Mapping[str, Any]) -> str:
    """`20 March to 5 May`; blank for a species that may call at any time."""
    ends = [entry["calls_from"], entry["calls_to"]]
    if None in ends:
        return ""
    first, last = (MonthDay(month=int(end[:2]), day=int(end[3:])) for end in ends)
    return span(first, last)
