"""The columns of the yearly table: the one place that says what each of them means."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from surveys.trends.estimates import (
    FEW_NAMED,
    FLAGS,
    INDEX_UNKNOWN,
    JOINT_ENTRY_TOLD,
    MEMBERS_TOLD,
    NAMING_CHANGED,
    NEVER_HEARD,
    NO_EFFORT,
    TOO_FEW_DATA,
)

ColumnType = Literal["string", "integer", "number", "date"]


@dataclass(frozen=True, kw_only=True)
class Column:
    """One column: Table Schema type, unit, meaning in plain words, and what its cells must obey.

    ``required`` columns are never blank. A blank cell means "not enough data", never zero.
    """

    name: str
    type: ColumnType
    unit: str
    meaning: str
    required: bool = False
    minimum: float | None = None
    maximum: float | None = None


# Where the name alone would not be understood.
_HEADS = {
    "periods": "Listening periods",
    "stops_detected": "Stops where heard",
    "told": "Reported",
    "share_index_1": "Share at index 1",
    "share_index_2": "Share at index 2",
    "share_index_3": "Share at index 3",
}
_LIMITS_OF_INTERVALS = {"_low": ", lower limit", "_high": ", upper limit"}


def head_words(name: str) -> str:
    """A column's name as a heading, as it is written: `Mean index`."""
    if name in _HEADS:
        return _HEADS[name]
    for end, limit in _LIMITS_OF_INTERVALS.items():
        if name.endswith(end):
            return head_words(name.removesuffix(end)) + limit
    return name.replace("naive", "uncorrected").replace("_", " ").capitalize()


def _count(name: str, unit: str, meaning: str) -> Column:
    return Column(name=name, type="integer", unit=unit, meaning=meaning, required=True, minimum=0)


def _share(name: str, meaning: str) -> Column:
    return Column(
        name=name, type="number", unit="share of stops", meaning=meaning, minimum=0, maximum=1
    )


COLUMNS: tuple[Column, ...] = (
    Column(
        name="species",
        type="string",
        unit="scientific name",
        meaning="Species, or a group of species that cannot be told apart by ear.",
        required=True,
    ),
    Column(
        name="season_year",
        type="integer",
        unit="year",
        meaning="Label of the survey season: the calendar year in which the season ends.",
        required=True,
        minimum=1900,
        maximum=2200,
    ),
    _count("routes", "routes", "Routes with at least one completed listening period."),
    _count("stops", "stops", "Stops listened to at least once."),
    _count("visits", "visits", "Visits: one route on one night."),
    _count("periods", "listening periods", "Completed listening periods, silent ones included."),
    _count("stops_detected", "stops", "Stops where the species was heard at least once."),
    _share(
        "naive_occupancy",
        "Stops with the species divided by stops listened to. Not corrected for frogs that were "
        "there and not heard, so it is too low.",
    ),
    _share("naive_low", "Lower 95% limit of that share (Wilson score interval)."),
    _share("naive_high", "Upper 95% limit of that share (Wilson score interval)."),
    _share("share_index_1", "Share of stops whose highest call index of the season was 1."),
    _share("share_index_2", "Share of stops whose highest call index of the season was 2."),
    _share(
        "share_index_3", "Share of stops whose highest call index of the season was 3, full chorus."
    ),
    Column(
        name="mean_index",
        type="number",
        unit="call index",
        meaning="Mean over stops of the highest call index of the season, silent stops as 0. "
        "Descriptive only: the call index is an ordered class, not an amount.",
        minimum=0,
        maximum=3,
    ),
    Column(
        name="first_night",
        type="date",
        unit="date",
        meaning="First night of the season on which the species was heard. A night is the date on "
        "which its evening began.",
    ),
    Column(
        name="last_night",
        type="date",
        unit="date",
        meaning="Last night of the season on which the species was heard.",
    ),
    Column(
        name="flags",
        type="string",
        unit="codes",
        meaning="What limits the row, separated by semicolons; blank when nothing does.",
    ),
)

# The codes that can stand in the column `flags` of these.
YEARLY_FLAGS: dict[str, str] = {
    flag: FLAGS[flag]
    for flag in (
        TOO_FEW_DATA,
        NO_EFFORT,
        NEVER_HEARD,
        INDEX_UNKNOWN,
        JOINT_ENTRY_TOLD,
        MEMBERS_TOLD,
        FEW_NAMED,
        NAMING_CHANGED,
    )
}

_LIMITS = "Limits are at 95%; the column interval names their kind."

CORRECTED_COLUMNS: tuple[Column, ...] = (
    *COLUMNS[:2],
    _share(
        "occupancy",
        "Estimated share of stops occupied, corrected for visits that missed the species. "
        + _LIMITS,
    ),
    _share("occupancy_low", "Lower limit of occupancy."),
    _share("occupancy_high", "Upper limit of occupancy."),
    _share(
        "route_low",
        "Lower limit of occupancy; stops on a route are treated as correlated (clustered).",
    ),
    _share(
        "route_high",
        "Upper limit of occupancy; stops on a route are treated as correlated (clustered).",
    ),
    _share(
        "whole",
        "Corrected share in the whole program, its regions weighted; blank without "
        "weights, and in a season without every region.",
    ),
    _share("whole_low", "Lower limit of whole."),
    _share("whole_high", "Upper limit of whole."),
    Column(
        name="detection",
        type="number",
        unit="chance for one visit",
        meaning="Estimated chance of hearing the species on one visit to an occupied stop.",
        minimum=0,
        maximum=1,
    ),
    Column(
        name="detection_low",
        type="number",
        unit="chance for one visit",
        meaning="Lower limit of detection, when the stops of a route are correlated.",
        minimum=0,
        maximum=1,
    ),
    Column(
        name="detection_high",
        type="number",
        unit="chance for one visit",
        meaning="Upper limit of detection, when the stops of a route are correlated.",
        minimum=0,
        maximum=1,
    ),
    Column(
        name="borrowed_from",
        type="integer",
        unit="species",
        meaning="Number of other species whose detection stands in for that of this one; blank "
        "where it is its own.",
        minimum=0,
    ),
    Column(name="interval", type="string", unit="code", meaning="Kind of interval of occupancy."),
    Column(name="method", type="string", unit="code", meaning="Model of occupancy."),
    COLUMNS[-1],
)
