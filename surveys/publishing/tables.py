"""The tables of a publication: the one place that says which columns each has and what they mean.

Every format is made from these tables and from nothing else. A blank cell means "not known"
or "not enough data", never zero.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from surveys.protocol.own_fields import AskedPer, FieldKind
from surveys.protocol.weather import NOISE, SKY
from surveys.trends.columns import COLUMNS as YEARLY_COLUMNS

SKIES = tuple(state.value for state in SKY)
NOISES = tuple(effect.value for effect in NOISE)

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


def _text(name: str, meaning: str, *, required: bool = False, unit: str = "", **more) -> Cells:
    return Cells(name=name, type="string", meaning=meaning, required=required, unit=unit, **more)


def _whole(name: str, meaning: str, unit: str = "", **more) -> Cells:
    return Cells(name=name, type="integer", meaning=meaning, unit=unit, **more)


def _number(name: str, meaning: str, unit: str = "", **more) -> Cells:
    return Cells(name=name, type="number", meaning=meaning, unit=unit, **more)


def _date(name: str, meaning: str, *, required: bool = False) -> Cells:
    return Cells(name=name, type="date", meaning=meaning, unit="ISO 8601", required=required)


def _instant(name: str, meaning: str) -> Cells:
    return Cells(name=name, type="datetime", meaning=meaning, unit="ISO 8601, UTC")


def _yes_no(name: str, meaning: str) -> Cells:
    return Cells(name=name, type="boolean", meaning=meaning)


ROUTE = _text("route", "Code of the route.", required=True)
STOP = _text("stop", "Identifier of the stop.", required=True)
SPECIES = _text(
    "species",
    "Species, or a group of species that cannot be told apart by ear.",
    required=True,
    unit="scientific name",
)
SEASON_YEAR = _whole(
    "season_year",
    "Label of the survey season: the calendar year in which the season ends.",
    "year",
    required=True,
    minimum=1900,
    maximum=2200,
)
SITE = _text(
    "site",
    "What counts as one site: a stop or a whole route.",
    required=True,
    choices=("stop", "route"),
)
METHOD = _text("method", "How the interval was made.")
FLAGS = _text("flags", "What to keep in mind with this row: codes of the method, joined by “; ”.")

REGIONS = Table(
    name="regions",
    title="Regions",
    meaning="Regions of the program that have a weight in what is told of the whole program.",
    columns=(
        _text("region", "Name of the region, as in the table of routes.", required=True),
        _number(
            "weight",
            "Its weight, relative to the others; a region of weight 0 is left out of the whole.",
            required=True,
            minimum=0,
        ),
        _text("weight_is", "What the weights are, such as the area or the number of wetlands."),
    ),
    key=("region",),
)
ROUTES = Table(
    name="routes",
    title="Routes",
    meaning="Fixed lines of stops, each surveyed in one night.",
    columns=(
        ROUTE,
        _text("name", "Name of the route; blank where places are generalized."),
        _text("region", "Region, district or county."),
        _text("protocol", "Protocol that the route follows.", required=True),
        _text(
            "chosen",
            "How the route was chosen: at random, by habitat, because the species were heard "
            "there, or not known.",
            choices=("random", "habitat", "heard", "unknown"),
        ),
        _whole(
            "stops", "Stops of the route in this publication.", "stops", required=True, minimum=0
        ),
        _number(
            "latitude",
            "Middle of the stops, generalized as they are.",
            "degrees, WGS 84",
            minimum=-90,
            maximum=90,
        ),
        _number(
            "longitude",
            "Middle of the stops, generalized as they are.",
            "degrees, WGS 84",
            minimum=-180,
            maximum=180,
        ),
    ),
    key=("route",),
)
STOPS = Table(
    name="stops",
    title="Stops",
    meaning="Listening points. A stop that was moved is a new stop.",
    columns=(
        STOP,
        ROUTE,
        _whole("number", "Number of the stop in its route.", required=True, minimum=1),
        _text("name", "Name of the stop; blank where places are generalized."),
        _number(
            "latitude",
            "Blank where the place is withheld.",
            "degrees, WGS 84",
            minimum=-90,
            maximum=90,
        ),
        _number(
            "longitude",
            "Blank where the place is withheld.",
            "degrees, WGS 84",
            minimum=-180,
            maximum=180,
        ),
        _number(
            "coordinate_uncertainty_m",
            "Radius around the coordinates within which the stop lies.",
            "m",
            minimum=0,
        ),
        _number(
            "grid_degrees",
            "Side of the grid cell whose middle is given; blank where exact.",
            "degrees",
            minimum=0,
        ),
        _text("data_generalizations", "How the place was made coarser."),
        _text("information_withheld", "What is known and not given here."),
        _date("active_from", "First night on which the stop was part of its route.", required=True),
        _date("active_until", "Last such night; blank while it still is."),
        _text("habitat", "Kind of wetland or land around the stop."),
        _text("hydroperiod", "How long the wetland holds water in most years."),
        _text("fish", "Whether the wetland has fish.", choices=("yes", "no", "unknown")),
    ),
    key=("stop",),
    refers=(("route", "routes", "route"),),
)
PROTOCOLS = Table(
    name="protocols",
    title="Protocol versions",
    meaning="The limits under which the visits were made.",
    columns=(
        _text("protocol", "Name of the protocol.", required=True),
        _whole("version", "Version; a version never changes.", required=True, minimum=1),
        _date("in_force_from", "First night surveyed under this version.", required=True),
        _text("limits", "Every limit, in words, joined by “; ”."),
        _text("windows", "Windows of the season, in words, joined by “; ”."),
        _text(
            "listening",
            "What is heard depends on this, in words, joined by “; ”: versions with the same text "
            "were surveyed alike.",
        ),
        _text("source", "Where the limits come from."),
    ),
    key=("protocol", "version"),
)
CHECKLIST = Table(
    name="checklist",
    title="Checklist",
    meaning="Species that were listened for; silence is a zero only for these.",
    columns=(
        SPECIES,
        _text("code", "Stable code of the species.", required=True),
        _text("common_name", "Common name.", required=True),
        _yes_no("is_group", "Whether it is a group that cannot be told apart by ear."),
        _text(
            "members",
            "Species of the group, by scientific name, joined by “; ”; those that are not on this "
            "checklist too.",
        ),
        _date("listed_from", "First night on the checklist; blank when from the beginning."),
        _date("listed_until", "Last night on the checklist; blank when it still is."),
        _text(
            "calls_from",
            "First day of the calling season; blank when it may call at any time.",
            unit="MM-DD",
        ),
        _text("calls_to", "Last day of the calling season.", unit="MM-DD"),
    ),
    key=("species",),
)
SEASONS = Table(
    name="seasons",
    title="Seasons",
    meaning="Season years with visits that count.",
    columns=(
        SEASON_YEAR,
        _yes_no(
            "open",
            "Whether its survey windows were not over when this was published. An open season is "
            "in no trend.",
        ),
    ),
    key=("season_year",),
)
VISITS = Table(
    name="visits",
    title="Visits",
    meaning="Accepted visits that count: one route on one night.",
    columns=(
        _text("visit", "Identifier of the visit.", required=True, unit="UUID"),
        ROUTE,
        _date("night", "Date on which the evening began.", required=True),
        SEASON_YEAR,
        _whole(
            "visit_number",
            "Number of the visit within its route and season year.",
            required=True,
            minimum=1,
        ),
        _whole(
            "day", "Days from the first day of the season year to the night.", "days", required=True
        ),
        _text("window", "Window of the season."),
        _text("protocol", "Name of the protocol.", required=True),
        _whole("protocol_version", "Version of the protocol.", required=True, minimum=1),
        _text(
            "observer",
            "Name, where the observer agreed to be named, else a pseudonym.",
            required=True,
        ),
        _yes_no("first_season", "Whether it was the observer’s first season year in the program."),
        _number("start_air_temperature", "Air temperature at the start.", "°C"),
        _whole("start_beaufort", "Wind at the start.", "Beaufort", minimum=0, maximum=12),
        _text("start_sky", "Sky at the start.", choices=SKIES),
        _number("end_air_temperature", "Air temperature at the end.", "°C"),
        _whole("end_beaufort", "Wind at the end.", "Beaufort", minimum=0, maximum=12),
        _text("end_sky", "Sky at the end.", choices=SKIES),
        _number("rain_48h", "Rain in the 48 hours before.", "mm", minimum=0),
        _yes_no("rain_trace", "Rain fell in the 48 hours before, too little to measure."),
    ),
    key=("visit",),
    refers=(("route", "routes", "route"),),
)
PERIODS = Table(
    name="periods",
    title="Listening periods",
    meaning="Completed listening periods that count: one stop on one visit, silent ones included.",
    columns=(
        _text("period", "Identifier of the listening period.", required=True, unit="UUID"),
        _text("visit", "Identifier of the visit.", required=True, unit="UUID"),
        STOP,
        _instant("started_at", "When listening began."),
        _instant("finished_at", "When listening ended."),
        _whole("paused", "Time in between that was not listened.", "s", minimum=0),
        _number(
            "minutes_after_sunset",
            "From sunset at the visit's first stop to the start of listening. The place is the one "
            "given here, so that no sunset tells more; where it is withheld, the middle of the "
            "program to a whole degree.",
            "min",
        ),
        _number(
            "air_temperature",
            "Air temperature; that of the start of the visit where the stop has none.",
            "°C",
        ),
        _number("water_temperature", "Water temperature.", "°C"),
        _whole(
            "beaufort",
            "Wind; that of the start of the visit where the stop has none.",
            "Beaufort",
            minimum=0,
            maximum=12,
        ),
        _text("sky", "Sky.", choices=SKIES),
        _text("noise", "What noise did to hearing, from none to all.", choices=NOISES),
        _text(
            "water_tonight",
            "Water in the wetland that night.",
            choices=("dry", "pools", "full", "not_seen"),
        ),
    ),
    key=("period",),
    refers=(("visit", "visits", "visit"), ("stop", "stops", "stop")),
)
CALLS = Table(
    name="calls",
    title="Call index",
    meaning="One row a listening period and species of that night's checklist, zeros included.",
    columns=(
        _text("period", "Identifier of the listening period.", required=True, unit="UUID"),
        SPECIES,
        _whole(
            "call_index",
            "0 not heard, 1 single callers, 2 some overlap, 3 full chorus; blank "
            "where the species is neither heard nor silent (not sure, left out in review, or a "
            "group it belongs to was written down instead). For a group, the highest of its own "
            "and its members.",
            minimum=0,
            maximum=3,
        ),
        _yes_no(
            "confirmed_by_ear",
            "Whether someone other than the observer heard it again in a recording of the stop; "
            "blank where it was not heard.",
        ),
        _text(
            "confirmed_by",
            "Who did: the name, where that person agreed to be named, else a pseudonym.",
        ),
        _whole(
            "recorded_index",
            "The call index that was written down for this very species or group; blank where "
            "none was, or where it does not count.",
            minimum=1,
            maximum=3,
        ),
        _whole(
            "far_index",
            "The call index that was written down where it was heard only beyond the listening "
            "radius of the protocol. It is no detection: call_index and recorded_index are as if "
            "it had not been heard.",
            minimum=1,
            maximum=3,
        ),
    ),
    key=("period", "species"),
    refers=(("period", "periods", "period"), ("species", "checklist", "species")),
)
OWN_FIELDS = Table(
    name="own_fields",
    title="Own fields",
    meaning="What the program asks for besides: the fields of the table own_values.",
    columns=(
        _text("field", "Stable key of the field.", required=True),
        _text("name", "Name of the field on the sheet.", required=True),
        _text("meaning", "What observers are asked to note."),
        _text(
            "kind",
            "What the values are.",
            required=True,
            choices=tuple(kind.value for kind in FieldKind),
        ),
        _text(
            "asked",
            "Whether it is asked once for a visit or at each stop.",
            required=True,
            choices=tuple(per.value for per in AskedPer),
        ),
        _text("unit", "Unit of a number."),
        _number("minimum", "Least possible number."),
        _number("maximum", "Greatest possible number."),
        _text("choices", "What may be chosen, as “key = name”, joined by “; ”."),
    ),
    key=("field",),
)
OWN_VALUES = Table(
    name="own_values",
    title="Values of own fields",
    meaning="One row a value of an own field: of a visit, or of a listening period.",
    columns=(
        _text(
            "event",
            "Identifier of the visit or the listening period, as the field is asked.",
            required=True,
            unit="UUID",
        ),
        _text("visit", "Identifier of the visit.", required=True, unit="UUID"),
        _text("field", "Key of the field.", required=True),
        _text(
            "value",
            "The value: a number with a decimal point, true or false, the key of a choice, or a "
            "text.",
            required=True,
        ),
    ),
    key=("event", "field"),
    refers=(("visit", "visits", "visit"), ("field", "own_fields", "field")),
)
YEARLY = Table(
    name="yearly",
    title="Yearly table",
    meaning="One row a species and season year; site = stop; shares are not corrected for "
    "animals present but not heard.",
    columns=tuple(
        Cells(
            name=column.name,
            type=column.type,
            meaning=column.meaning,
            unit=column.unit,
            required=column.required,
            minimum=column.minimum,
            maximum=column.maximum,
        )
        for column in YEARLY_COLUMNS
    ),
    key=("species", "season_year"),
    refers=(("species", "checklist", "species"),),
)
_SHARE = {"unit": "share of sites", "minimum": 0.0, "maximum": 1.0}
_CHANCE = {"unit": "probability", "minimum": 0.0, "maximum": 1.0}
OCCUPANCY = Table(
    name="occupancy",
    title="Occupancy by year",
    meaning="Share of sites with the species in its calling season, plain and corrected for "
    "animals present but not heard.",
    columns=(
        SPECIES,
        SITE,
        SEASON_YEAR,
        _whole("sites", "Sites listened to.", "sites", required=True, minimum=0),
        _whole("sites_heard", "Sites where it was heard.", "sites", required=True, minimum=0),
        _number("naive", "Sites where it was heard, as a share.", **_SHARE),
        _number("naive_low", "Lower end of its 95% interval.", **_SHARE),
        _number("naive_high", "Upper end of its 95% interval.", **_SHARE),
        _number("occupancy", "Share of sites with the species, corrected.", **_SHARE),
        _number("occupancy_low", "Lower end of its 95% interval.", **_SHARE),
        _number("occupancy_high", "Upper end of its 95% interval.", **_SHARE),
        _number(
            "detection",
            "Chance of hearing it on one visit to a site where it is.",
            **_CHANCE,
        ),
        _number("detection_low", "Lower end of its 95% interval.", **_CHANCE),
        _number("detection_high", "Upper end of its 95% interval.", **_CHANCE),
        _number("trend", "Corrected share on the line of the trend.", **_SHARE),
        _number("trend_low", "Lower end of its 95% interval.", **_SHARE),
        _number("trend_high", "Upper end of its 95% interval.", **_SHARE),
        _number("naive_trend", "Uncorrected share on the line of its own trend.", **_SHARE),
        _number("naive_trend_low", "Lower end of its 95% interval.", **_SHARE),
        _number("naive_trend_high", "Upper end of its 95% interval.", **_SHARE),
        _number(
            "whole",
            "Corrected share in the whole program, its regions by their weights; blank without "
            "weights, and in a season without every region.",
            **_SHARE,
        ),
        _number("whole_low", "Lower end of its 95% interval.", **_SHARE),
        _number("whole_high", "Upper end of its 95% interval.", **_SHARE),
        _text("detection_model", "What the chance of hearing it depends on: a code of the method."),
        METHOD,
        FLAGS,
    ),
    key=("species", "site", "season_year"),
    refers=(("species", "checklist", "species"),),
)
TRENDS = Table(
    name="trends",
    title="Trends",
    meaning="Change in occupancy per year; intervals treat stops on a route as correlated.",
    columns=(
        SPECIES,
        SITE,
        _whole("first_year", "First season year of the trend.", "year", minimum=1900, maximum=2200),
        _whole("last_year", "Last season year of the trend.", "year", minimum=1900, maximum=2200),
        _text("breaks", "Season years in which the way of listening changed, joined by “; ”."),
        _yes_no(
            "told",
            "Whether the change is reported in words and by an arrow; no where there is none, or "
            "where a flag puts it in doubt.",
        ),
        _number("change", "Change in occupancy per year.", "% per year"),
        _number("change_low", "Lower end of its 95% interval.", "% per year"),
        _number("change_high", "Upper end of its 95% interval.", "% per year"),
        _number("pooled_change", "Change per year without separating routes.", "% per year"),
        _number("pooled_change_low", "Lower end of its 95% interval.", "% per year"),
        _number("pooled_change_high", "Upper end of its 95% interval.", "% per year"),
        _number("naive_change", "Change per year in the uncorrected share.", "% per year"),
        _number("naive_change_low", "Lower end of its 95% interval.", "% per year"),
        _number("naive_change_high", "Upper end of its 95% interval.", "% per year"),
        _number("log_odds", "Slope on the logit scale.", "log odds per year"),
        _number("log_odds_low", "Lower end of its 95% interval.", "log odds per year"),
        _number("log_odds_high", "Upper end of its 95% interval.", "log odds per year"),
        _number("scatter", "Standard deviation of years around the line.", "log odds"),
        _number("scatter_low", "Lower end of its 95% interval.", "log odds"),
        _number("scatter_high", "Upper end of its 95% interval.", "log odds"),
        _number(
            "whole_change",
            "Change in occupancy per year in the whole program, its regions by their weights; "
            "blank without weights.",
            "% per year",
        ),
        _number("whole_change_low", "Lower end of its 95% interval.", "% per year"),
        _number("whole_change_high", "Upper end of its 95% interval.", "% per year"),
        _text("whole_flags", "What limits the change in the whole program: codes as in flags."),
        _number(
            "chorus_change",
            "Change per year in the share of stops with full chorus, corrected for nights on which "
            "fewer called; blank by route.",
            "% per year",
        ),
        _number("chorus_change_low", "Lower end of its 95% interval.", "% per year"),
        _number("chorus_change_high", "Upper end of its 95% interval.", "% per year"),
        _number(
            "index_odds_change",
            "Change per year in the odds of a higher call index; blank by route.",
            "% per year",
        ),
        _number("index_odds_change_low", "Lower end of its 95% interval.", "% per year"),
        _number("index_odds_change_high", "Upper end of its 95% interval.", "% per year"),
        _text("chorus_flags", "What limits these two changes: codes as in flags."),
        _number(
            "shrunken_change",
            "The change pulled toward that of the other species, the more the less it is known; "
            "blank where it is not reported in words, or fewer than three are.",
            "% per year",
        ),
        _number("shrunken_change_low", "Lower end of its 95% interval.", "% per year"),
        _number("shrunken_change_high", "Upper end of its 95% interval.", "% per year"),
        _number(
            "discovery_rate",
            "Lowest false-discovery rate at which the species would be said to change.",
            "share",
            minimum=0.0,
            maximum=1.0,
        ),
        _text("detection_model", "What the chance of hearing it depends on: a code of the method."),
        _text(
            "occupancy_model",
            "What the chance that it is there depends on, beside the year: a code of the method.",
        ),
        METHOD,
        FLAGS,
    ),
    key=("species", "site"),
    refers=(("species", "checklist", "species"),),
)
SENSITIVITY = Table(
    name="sensitivity",
    title="Sensitivity",
    meaning="The trend again under other choices that an analyst could have made.",
    columns=(
        SPECIES,
        SITE,
        _whole("number", "Number of the row; 1 is the reported trend.", required=True, minimum=1),
        _text("choice", "What is done differently: a code of the method.", required=True),
        _yes_no("applies", "No where there was nothing to leave out."),
        _number("change", "Change in occupancy per year.", "% per year"),
        _number("change_low", "Lower end of its 95% interval.", "% per year"),
        _number("change_high", "Upper end of its 95% interval.", "% per year"),
        _whole("routes", "Routes it rests on.", "routes", minimum=0),
        _whole("seasons", "Season years it rests on.", "season years", minimum=0),
        FLAGS,
    ),
    key=("species", "site", "number"),
    refers=(("species", "checklist", "species"),),
)

NULL_RUNS = Table(
    name="null_runs",
    title="Null runs",
    meaning="The surveys of each species by stops, simulated without a change and calculated in "
    "the same way: how often they would have shown one.",
    columns=(
        SPECIES,
        _whole(
            "runs",
            "Simulated surveys; 0 where the trend of the data is not reported in words.",
            required=True,
            minimum=0,
        ),
        _whole("fell", "Those that would have shown a fall.", required=True, minimum=0),
        _whole("rose", "Those that would have shown a rise.", required=True, minimum=0),
        _number(
            "false_alarms",
            "Those that would have shown either.",
            "share of runs",
            minimum=0.0,
            maximum=1.0,
        ),
        _number(
            "false_alarms_low",
            "Lower end of its 95% interval.",
            "share of runs",
            minimum=0.0,
            maximum=1.0,
        ),
        _number(
            "false_alarms_high",
            "Upper end of its 95% interval.",
            "share of runs",
            minimum=0.0,
            maximum=1.0,
        ),
    ),
    key=("species",),
    refers=(("species", "checklist", "species"),),
)

TABLES: tuple[Table, ...] = (
    REGIONS, ROUTES, STOPS, PROTOCOLS, CHECKLIST, SEASONS, VISITS, PERIODS, CALLS, OWN_FIELDS,
    OWN_VALUES, YEARLY, OCCUPANCY, TRENDS, SENSITIVITY, NULL_RUNS,
)  # fmt: skip
TABLE = {table.name: table for table in TABLES}
