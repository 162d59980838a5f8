"""The water at stops, what was done to wetlands, and how calling goes with both, as rows of a
publication's tables."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence

from surveys.trends.change_effect import SHARES, ChangeEffect
from surveys.trends.from_tables import FrozenPeriods
from surveys.trends.histories import Site
from surveys.trends.result_tables import Row
from surveys.trends.species_result import SpeciesResult
from surveys.trends.water import WATER_CLASSES, WaterAndCalls, WaterYear, water_years


def water_rows(frozen: FrozenPeriods) -> Iterator[Row]:
    """One row a stop and season year in which somebody looked at the water."""
    for year in water_years(frozen.periods.columns):
        yield water_row(frozen.stops[year.stop], year)


def water_row(stop: str, year: WaterYear) -> Row:
    """The row of a stop and season year."""
    filled, dried = year.filled, year.dried
    least, most = year.held
    return {
        "stop": stop,
        "season_year": year.season_year,
        "looks": len(year.looks),
        "first_look": _date(year.looks[0][0]),
        "last_look": _date(year.looks[-1][0]),
        "dry_until": _date(filled.after if filled else None),
        "filled_by": _date(filled.by if filled else None),
        "wet_until": _date(dried.after if dried else None),
        "dried_by": _date(dried.by if dried else None),
        "held_least": least,
        "held_most": most,
    }


def water_and_calls_rows(results: Sequence[tuple[str, Site, SpeciesResult]]) -> Iterator[Row]:
    """One row a species, by stops."""
    for species, _, result in results:
        if result.water is not None:
            yield water_and_calls_row(species, result.water)


def water_and_calls_row(species: str, water: WaterAndCalls) -> Row:
    """The row of a species."""
    lag, of_classes = water.lag, {one.name: one for one in water.classes}
    row: Row = {
        "species": species,
        "lags": water.lags,
        "routes": water.routes,
        "before": water.before,
        "lag": lag.value,
        "lag_low": lag.low,
        "lag_high": lag.high,
        "method": f"{lag.interval}; {lag.method}",
        "flags": "; ".join(lag.flags),
    }
    for name in WATER_CLASSES:
        one, column = of_classes.get(name), name.replace("-", "_")
        row[f"{column}_stops"] = one.sites if one else 0
        row[f"{column}_heard"] = one.heard.value if one else None
        row[f"{column}_heard_low"] = one.heard.low if one else None
        row[f"{column}_heard_high"] = one.heard.high if one else None
    return row


def change_effect_rows(results: Sequence[tuple[str, Site, SpeciesResult]]) -> Iterator[Row]:
    """One row a species and kind of change, by stops."""
    for species, _, result in results:
        for effect in result.changes:
            yield change_effect_row(species, effect)


def change_effect_row(species: str, effect: ChangeEffect) -> Row:
    """The row of a species and kind of change."""
    odds = effect.odds
    row: Row = {
        "species": species,
        "kind": effect.kind,
        "stops": effect.stops,
        "routes": effect.routes,
        "unchanged": effect.unchanged,
        "unchanged_routes": effect.unchanged_routes,
        "odds": odds.value,
        "odds_low": odds.low,
        "odds_high": odds.high,
        "method": f"{odds.interval}; {odds.method}",
        "flags": "; ".join(odds.flags),
    }
    for name, share in zip(SHARES, effect.shares, strict=True):
        row[f"{name}_stops"] = share.sites
        row[f"{name}_heard"] = share.heard.value
        row[f"{name}_heard_low"] = share.heard.low
        row[f"{name}_heard_high"] = share.heard.high
    return row


def _date(ordinal: int | None) -> dt.date | None:
    return None if ordinal is None else dt.date.fromordinal(ordinal)
