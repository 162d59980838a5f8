"""What a publication says of each species, as values that words and pictures are made from."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from surveys.protocol.values import MonthDay
from surveys.protocol.words import month_day
from surveys.publishing.frozen import Frozen
from surveys.trends import Estimate


@dataclass(frozen=True, kw_only=True)
class ToldYear:
    """One season year in the calling season. Nights are of the whole season year."""

    season_year: int
    sites: int
    heard: int
    naive: Estimate
    occupancy: Estimate
    detection: Estimate
    nights: tuple[dt.date | None, dt.date | None]


@dataclass(frozen=True, kw_only=True)
class ToldTrend:
    """Change a year in percent of the share, corrected and plain, with the line of each."""

    occupancy: Estimate
    line: tuple[tuple[int, Estimate], ...]
    naive: Estimate
    naive_line: tuple[tuple[int, Estimate], ...]
    detection_model: str
    occupancy_model: str


@dataclass(frozen=True, kw_only=True)
class SpeciesSummary:
    """A species of the checklist with its years and trend, as `surveys.charts.words` reads it."""

    name: str
    scientific: str
    is_group: bool
    calling: str
    years: tuple[ToldYear, ...]
    trend: ToldTrend


def species_summaries(frozen: Frozen, *, site: str) -> list[SpeciesSummary]:
    """Every species of the checklist, in its order."""
    years: dict[str, list[Mapping[str, Any]]] = {}
    for row in frozen.records("occupancy"):
        if row["site"] == site:
            years.setdefault(row["species"], []).append(row)
    trends = {row["species"]: row for row in frozen.records("trends") if row["site"] == site}
    nights = {
        (row["species"], row["season_year"]): (row["first_night"], row["last_night"])
        for row in frozen.records("yearly")
    }
    return [
        SpeciesSummary(
            name=entry["common_name"],
            scientific=entry["species"],
            is_group=bool(entry["is_group"]),
            calling=_calling(entry),
            years=tuple(
                _year(row, nights.get((row["species"], row["season_year"]), (None, None)))
                for row in years.get(entry["species"], ())
            ),
            trend=_trend(trends.get(entry["species"], {}), years.get(entry["species"], ())),
        )
        for entry in frozen.records("checklist")
    ]


def _calling(entry: Mapping[str, Any]) -> str:
    """`20 March to 5 May`; blank for a species that may call at any time."""
    ends = [entry["calls_from"], entry["calls_to"]]
    if None in ends:
        return ""
    days = (MonthDay(month=int(end[:2]), day=int(end[3:])) for end in ends)
    return " to ".join(month_day(one) for one in days)


def _year(row: Mapping[str, Any], nights: tuple[dt.date | None, dt.date | None]) -> ToldYear:
    flags = _flags(row)
    return ToldYear(
        season_year=row["season_year"],
        sites=row["sites"],
        heard=row["sites_heard"],
        naive=_estimate(row, "naive"),
        occupancy=_estimate(row, "occupancy", flags),
        detection=_estimate(row, "detection"),
        nights=nights,
    )


def _trend(row: Mapping[str, Any], years: Iterable[Mapping[str, Any]]) -> ToldTrend:
    years = list(years)
    return ToldTrend(
        occupancy=_estimate(row, "change", _flags(row)),
        line=_line(years, "trend"),
        naive=_estimate(row, "naive_change"),
        naive_line=_line(years, "naive_trend"),
        detection_model=row.get("detection_model") or "",
        occupancy_model=row.get("occupancy_model") or "",
    )


def _line(years: Iterable[Mapping[str, Any]], name: str) -> tuple[tuple[int, Estimate], ...]:
    return tuple(
        (row["season_year"], _estimate(row, name)) for row in years if row[name] is not None
    )


def _estimate(row: Mapping[str, Any], name: str, flags: tuple[str, ...] = ()) -> Estimate:
    return Estimate(
        name=name,
        value=row.get(name),
        low=row.get(f"{name}_low"),
        high=row.get(f"{name}_high"),
        interval="",
        method=row.get("method") or "",
        flags=flags,
    )


def _flags(row: Mapping[str, Any]) -> tuple[str, ...]:
    flags = row.get("flags")
    return tuple(flags.split("; ")) if flags else ()
