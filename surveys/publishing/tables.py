"""The tables of a publication: the one place that says which columns each has and what they mean.

Every format is made from these tables and from nothing else. A blank cell means "not known"
or "not enough data", never zero.
"""

from __future__ import annotations

from surveys.protocol.own_fields import AskedPer, FieldKind
from surveys.protocol.weather import NOISE, SKY
from surveys.publishing.cells import (
    ROUTE,
    SEASON_YEAR,
    SPECIES,
    STOP,
    Cells,
    CellType,
    Table,
    date,
    instant,
    number,
    text,
    whole,
    yes_no,
)
from surveys.publishing.listening_tables import HINT_ERRORS
from surveys.publishing.result_tables import (
    NULL_RUNS,
    OCCUPANCY,
    SENSITIVITY,
    TRENDS,
    YEARLY,
)
from surveys.publishing.sighting_tables import SIGHTING_SHARES, SIGHTINGS
from surveys.publishing.wetland_tables import (
    CHANGE_EFFECTS,
    CHANGES,
    STATION_WEATHER,
    WATER,
    WATER_AND_CALLS,
)

__all__ = ["TABLE", "TABLES", "CellType", "Cells", "Table"]

SKIES = tuple(state.value for state in SKY)
NOISES = tuple(effect.value for effect in NOISE)

REGIONS = Table(
    name="regions",
    title="Regions",
    meaning="Regions of the program that have a weight in what is told of the whole program.",
    columns=(
        text("region", "Name of the region, as in the table of routes.", required=True),
        number(
            "weight",
            "Its weight, relative to the others; a region of weight 0 is left out of the whole.",
            required=True,
            minimum=0,
        ),
        text("weight_is", "What the weights are, such as the area or the number of wetlands."),
    ),
    key=("region",),
)
ROUTES = Table(
    name="routes",
    title="Routes",
    meaning="Fixed lines of stops, each surveyed in one night.",
    columns=(
        ROUTE,
        text("name", "Name of the route; blank where places are generalized."),
        text("region", "Region, district or county."),
        text("stratum", "Stratum that the route was drawn from; blank where there are none."),
        text("protocol", "Protocol that the route follows.", required=True),
        text(
            "chosen",
            "How the route was chosen: at random, by habitat, because the species were heard "
            "there, or not known.",
            choices=("random", "habitat", "heard", "unknown"),
        ),
        whole(
            "stops", "Stops of the route in this publication.", "stops", required=True, minimum=0
        ),
        number(
            "latitude",
            "Middle of the stops, generalized as they are.",
            "degrees, WGS 84",
            minimum=-90,
            maximum=90,
        ),
        number(
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
        whole("number", "Number of the stop in its route.", required=True, minimum=1),
        text("name", "Name of the stop; blank where places are generalized."),
        number(
            "latitude",
            "Blank where the place is withheld.",
            "degrees, WGS 84",
            minimum=-90,
            maximum=90,
        ),
        number(
            "longitude",
            "Blank where the place is withheld.",
            "degrees, WGS 84",
            minimum=-180,
            maximum=180,
        ),
        number(
            "coordinate_uncertainty_m",
            "Radius around the coordinates within which the stop lies.",
            "m",
            minimum=0,
        ),
        number(
            "grid_degrees",
            "Side of the grid cell whose middle is given; blank where exact.",
            "degrees",
            minimum=0,
        ),
        text("data_generalizations", "How the place was made coarser."),
        text("information_withheld", "What is known and not given here."),
        date("active_from", "First night on which the stop was part of its route.", required=True),
        date("active_until", "Last such night; blank while it still is."),
        text("habitat", "Kind of wetland or land around the stop."),
        text("hydroperiod", "How long the wetland holds water in most years."),
        text("fish", "Whether the wetland has fish.", choices=("yes", "no", "unknown")),
    ),
    key=("stop",),
    refers=(("route", "routes", "route"),),
)
PROTOCOLS = Table(
    name="protocols",
    title="Protocol versions",
    meaning="The limits under which the visits were made.",
    columns=(
        text("protocol", "Name of the protocol.", required=True),
        whole("version", "Version; a version never changes.", required=True, minimum=1),
        date("in_force_from", "First night surveyed under this version.", required=True),
        text("limits", "Every limit, in words, joined by “; ”."),
        text("windows", "Windows of the season, in words, joined by “; ”."),
        text(
            "listening",
            "What is heard depends on this, in words, joined by “; ”: versions with the same text "
            "were surveyed alike.",
        ),
        text("source", "Where the limits come from."),
    ),
    key=("protocol", "version"),
)
CHECKLIST = Table(
    name="checklist",
    title="Checklist",
    meaning="Species that were listened for; silence is a zero only for these.",
    columns=(
        SPECIES,
        text("code", "Stable code of the species.", required=True),
        text("common_name", "Common name.", required=True),
        yes_no("is_group", "Whether it is a group that cannot be told apart by ear."),
        text(
            "members",
            "Species of the group, by scientific name, joined by “; ”; those that are not on this "
            "checklist too.",
        ),
        date("listed_from", "First night on the checklist; blank when from the beginning."),
        date("listed_until", "Last night on the checklist; blank when it still is."),
        text(
            "calls_from",
            "First day of the calling season; blank when it may call at any time.",
            unit="MM-DD",
        ),
        text("calls_to", "Last day of the calling season.", unit="MM-DD"),
    ),
    key=("species",),
)
SEASONS = Table(
    name="seasons",
    title="Seasons",
    meaning="Season years with visits that count.",
    columns=(
        SEASON_YEAR,
        yes_no(
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
        text("visit", "Identifier of the visit.", required=True, unit="UUID"),
        ROUTE,
        date("night", "Date on which the evening began.", required=True),
        SEASON_YEAR,
        whole(
            "visit_number",
            "Number of the visit within its route and season year.",
            required=True,
            minimum=1,
        ),
        whole(
            "day", "Days from the first day of the season year to the night.", "days", required=True
        ),
        text("window", "Window of the season."),
        text("protocol", "Name of the protocol.", required=True),
        whole("protocol_version", "Version of the protocol.", required=True, minimum=1),
        text(
            "observer",
            "Name, where the observer agreed to be named, else a pseudonym.",
            required=True,
        ),
        yes_no("first_season", "Whether it was the observer’s first season year in the program."),
        number("start_air_temperature", "Air temperature at the start.", "°C"),
        whole("start_beaufort", "Wind at the start.", "Beaufort", minimum=0, maximum=12),
        text("start_sky", "Sky at the start.", choices=SKIES),
        number("end_air_temperature", "Air temperature at the end.", "°C"),
        whole("end_beaufort", "Wind at the end.", "Beaufort", minimum=0, maximum=12),
        text("end_sky", "Sky at the end.", choices=SKIES),
        number("rain_48h", "Rain in the 48 hours before.", "mm", minimum=0),
        yes_no("rain_trace", "Rain fell in the 48 hours before, too little to measure."),
    ),
    key=("visit",),
    refers=(("route", "routes", "route"),),
)
PERIODS = Table(
    name="periods",
    title="Listening periods",
    meaning="Completed listening periods that count: one stop on one visit, silent ones included.",
    columns=(
        text("period", "Identifier of the listening period.", required=True, unit="UUID"),
        text("visit", "Identifier of the visit.", required=True, unit="UUID"),
        STOP,
        instant("started_at", "When listening began."),
        instant("finished_at", "When listening ended."),
        whole("paused", "Time in between that was not listened.", "s", minimum=0),
        number(
            "minutes_after_sunset",
            "From sunset at the visit's first stop to the start of listening. The place is the one "
            "given here, so that no sunset tells more; where it is withheld, the middle of the "
            "program to a whole degree.",
            "min",
        ),
        number(
            "air_temperature",
            "Air temperature; that of the start of the visit where the stop has none.",
            "°C",
        ),
        number("water_temperature", "Water temperature.", "°C"),
        whole(
            "beaufort",
            "Wind; that of the start of the visit where the stop has none.",
            "Beaufort",
            minimum=0,
            maximum=12,
        ),
        text("sky", "Sky.", choices=SKIES),
        text("noise", "What noise did to hearing, from none to all.", choices=NOISES),
        text(
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
    meaning="One row per listening period and species of that night's checklist, zeros included.",
    columns=(
        text("period", "Identifier of the listening period.", required=True, unit="UUID"),
        SPECIES,
        whole(
            "call_index",
            "0 not heard, 1 single callers, 2 some overlap, 3 full chorus. Blank "
            "where the species is neither heard nor silent: not sure, left out in review, or a "
            "group it belongs to was written down instead. For a group, the highest of its own "
            "and its members.",
            minimum=0,
            maximum=3,
        ),
        yes_no(
            "confirmed_by_ear",
            "Whether someone other than the observer heard it again in a recording of the stop; "
            "blank where it was not heard.",
        ),
        yes_no(
            "checked_by_ear",
            "Whether people who had not seen the sheet heard a recording of the stop, named the "
            "species or not; blank where it was not heard.",
        ),
        text(
            "confirmed_by",
            "Who did: the name, where that person agreed to be named, else a pseudonym.",
        ),
        whole(
            "recorded_index",
            "The call index that was written down for this very species or group; blank where "
            "none was, or where it does not count.",
            minimum=1,
            maximum=3,
        ),
        whole(
            "far_index",
            "The call index that was written down where it was heard only beyond the listening "
            "radius of the protocol. It is not a detection: call_index and recorded_index are as "
            "if it had not been heard.",
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
        text("field", "Stable key of the field.", required=True),
        text("name", "Name of the field on the sheet.", required=True),
        text("meaning", "What observers are asked to note."),
        text(
            "kind",
            "What the values are.",
            required=True,
            choices=tuple(kind.value for kind in FieldKind),
        ),
        text(
            "asked",
            "Whether it is asked once for a visit or at each stop.",
            required=True,
            choices=tuple(per.value for per in AskedPer),
        ),
        text("unit", "Unit of a number."),
        number("minimum", "Least possible number."),
        number("maximum", "Greatest possible number."),
        text("choices", "What may be chosen, as “key = name”, joined by “; ”."),
    ),
    key=("field",),
)
OWN_VALUES = Table(
    name="own_values",
    title="Values of own fields",
    meaning="One row per value of an own field: of a visit, or of a listening period.",
    columns=(
        text(
            "event",
            "Identifier of the visit or the listening period, as the field is asked.",
            required=True,
            unit="UUID",
        ),
        text("visit", "Identifier of the visit.", required=True, unit="UUID"),
        text("field", "Key of the field.", required=True),
        text(
            "value",
            "The value: a number with a decimal point, true or false, the key of a choice, or a "
            "text.",
            required=True,
        ),
    ),
    key=("event", "field"),
    refers=(("visit", "visits", "visit"), ("field", "own_fields", "field")),
)

TABLES: tuple[Table, ...] = (
    REGIONS, ROUTES, STOPS, CHANGES, PROTOCOLS, CHECKLIST, SEASONS, VISITS, STATION_WEATHER,
    PERIODS, CALLS, SIGHTINGS, OWN_FIELDS, OWN_VALUES, YEARLY, OCCUPANCY, TRENDS, SENSITIVITY,
    NULL_RUNS, WATER, WATER_AND_CALLS, CHANGE_EFFECTS, SIGHTING_SHARES,
    HINT_ERRORS,
)  # fmt: skip
TABLE = {table.name: table for table in TABLES}
