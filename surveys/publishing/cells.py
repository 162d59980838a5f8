"""What the columns of published tables are made of, and columns that many tables have."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

CellType = Literal["string", "integer", "number", "boolean", "date", "datetime"]


@dataclass(frozen=True, kw_only=True)
class Cells:
    """A column: Table Schema type, unit, meaning, and what its cells must obey."""

    name: str
    type: CellType
    meaning: str
    unit: str = ""
    required: bool = False
    minimum: float | None = None
    maximum: float | None = None
    choices: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Table:
    """A table. `key` are the columns that no two rows share; `refers` maps a column to the
    table and column where its values stand."""

    name: str
    title: str
    meaning: str
    columns: tuple[Cells, ...]
    key: tuple[str, ...]
    refers: tuple[tuple[str, str, str], ...] = ()

    @property
    def file(self) -> str:
        return f"data/{self.name}.csv"

    @property
    def header(self) -> tuple[str, ...]:
        return tuple(column.name for column in self.columns)


def text(name: str, meaning: str, *, required: bool = False, unit: str = "", **more) -> Cells:
    return Cells(name=name, type="string", meaning=meaning, required=required, unit=unit, **more)


def whole(name: str, meaning: str, unit: str = "", **more) -> Cells:
    return Cells(name=name, type="integer", meaning=meaning, unit=unit, **more)


def number(name: str, meaning: str, unit: str = "", **more) -> Cells:
    return Cells(name=name, type="number", meaning=meaning, unit=unit, **more)


def date(name: str, meaning: str, *, required: bool = False) -> Cells:
    return Cells(name=name, type="date", meaning=meaning, unit="ISO 8601", required=required)


def instant(name: str, meaning: str) -> Cells:
    return Cells(name=name, type="datetime", meaning=meaning, unit="ISO 8601, UTC")


def yes_no(name: str, meaning: str) -> Cells:
    return Cells(name=name, type="boolean", meaning=meaning)


ROUTE = text("route", "Code of the route.", required=True)
STOP = text("stop", "Identifier of the stop.", required=True)
SPECIES = text(
    "species",
    "Species, or a group of species that cannot be told apart by ear.",
    required=True,
    unit="scientific name",
)
SEASON_YEAR = whole(
    "season_year",
    "Label of the survey season: the calendar year in which the season ends.",
    "year",
    required=True,
    minimum=1900,
    maximum=2200,
)
SITE = text(
    "site",
    "What counts as one site: a stop or a whole route.",
    required=True,
    choices=("stop", "route"),
)
METHOD = text(
    "method",
    "How the interval and the value were made: codes of the method, joined by “; ”.",
)
FLAGS = text("flags", "What to keep in mind with this row: codes of the method, joined by “; ”.")
