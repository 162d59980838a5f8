"""The water of stops over a season, drawn as strips and said in words."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from itertools import pairwise

from surveys.dates import short_month_day
from surveys.language import gettext, said, said_of
from surveys.models import Stop
from surveys.models.visit import WaterTonight
from surveys.protocol.words import listed
from surveys.trends.periods import WATER
from surveys.trends.water import DRY, Between, WaterYear

# Units of the drawing: a strip is as wide as this, with room for the mark of a look at both ends.
WIDTH, MARGIN = 200, 6
_LABELS = {amount: WaterTonight(word).label for word, amount in WATER.items()}
_NAMES = {amount: word for word, amount in WATER.items()}


@dataclass(frozen=True, kw_only=True)
class Mark:
    """A look at the water: where it stands in the drawing, and `dry`, `pools` or `full`."""

    x: float
    water: str


@dataclass(frozen=True, kw_only=True)
class Span:
    """The time between two looks: `wet`, `dry`, or `unknown` where they saw different things."""

    x: float
    width: float
    kind: str


@dataclass(frozen=True, kw_only=True)
class Strip:
    """One stop in one season year; `looks` says the drawing in words."""

    stop: Stop
    looks: str
    marks: tuple[Mark, ...]
    spans: tuple[Span, ...]
    filled: str
    dried: str
    held: str


@dataclass(frozen=True, kw_only=True)
class StripSeason:
    season_year: int
    strips: tuple[Strip, ...]


def strip_seasons(years: Iterable[WaterYear], stops: Mapping[int, Stop]) -> list[StripSeason]:
    """Strips by season year, the newest first, of these stops in driving order. All strips of a
    season year are drawn on one scale, from its first look to its last."""
    of_season: dict[int, list[WaterYear]] = {}
    for year in years:
        if year.stop in stops:
            of_season.setdefault(year.season_year, []).append(year)
    return [
        StripSeason(season_year=season_year, strips=_strips(of_season[season_year], stops))
        for season_year in sorted(of_season, reverse=True)
    ]


def _strips(years: list[WaterYear], stops: Mapping[int, Stop]) -> tuple[Strip, ...]:
    first = min(year.looks[0][0] for year in years)
    last = max(year.looks[-1][0] for year in years)

    def x(night: int) -> float:
        return round(MARGIN + (WIDTH - 2 * MARGIN) * (night - first) / max(last - first, 1), 1)

    in_order = sorted(years, key=lambda year: (stops[year.stop].number, year.stop))
    return tuple(
        Strip(
            stop=stops[year.stop],
            looks=listed(
                said("{day}: {water}", day=_day(night), water=_LABELS[water])
                for night, water in year.looks
            ),
            marks=tuple(Mark(x=x(night), water=_NAMES[water]) for night, water in year.looks),
            spans=tuple(
                Span(x=x(night), width=round(x(later) - x(night), 1), kind=_kind(water, then))
                for (night, water), (later, then) in pairwise(year.looks)
            ),
            filled=_filled(year),
            dried=_dried(year),
            held=_held(year),
        )
        for year in in_order
    )


def _kind(water: float, then: float) -> str:
    if (water > DRY) != (then > DRY):
        return "unknown"
    return "wet" if water > DRY else "dry"


def _filled(year: WaterYear) -> str:
    if year.filled is None:
        return gettext("dry at every visit")
    if year.filled.after is None:
        return said("by {day}", day=_day(year.filled.by))
    return _between(year.filled)


def _dried(year: WaterYear) -> str:
    if year.filled is None:
        return ""
    return _between(year.dried) if year.dried else gettext("not seen dry after that")


def _between(between: Between) -> str:
    if between.after is None:
        return ""
    return said("{first} to {last}", first=_day(between.after), last=_day(between.by))


def _held(year: WaterYear) -> str:
    least, most = year.held
    if len(year.looks) == 1:
        return gettext("seen once only")
    if least == most:
        return said_of("{number} day", "{number} days", least)
    return said("{least} to {most} days", least=least, most=most)


def _day(night: int) -> str:
    return short_month_day(dt.date.fromordinal(night))
