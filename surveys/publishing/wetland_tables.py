"""Published tables of the wetlands themselves: the water that visits saw in them."""

from __future__ import annotations

from collections.abc import Iterator

from surveys.publishing.cells import (
    FLAGS,
    METHOD,
    SEASON_YEAR,
    SPECIES,
    STOP,
    Cells,
    Table,
    date,
    number,
    text,
    whole,
)
from surveys.trends.wetland_changes import KINDS

_SHARE = {"unit": "share of stops", "minimum": 0.0, "maximum": 1.0}

WATER = Table(
    name="water",
    title="Water at stops",
    meaning="The water that visits saw at a stop in a season year. No one knows what it did "
    "between two visits, so filling and drying lie between two nights.",
    columns=(
        STOP,
        SEASON_YEAR,
        whole("looks", "Nights on which someone looked.", "nights", required=True, minimum=1),
        date("first_look", "The first of them.", required=True),
        date("last_look", "The last of them.", required=True),
        date("dry_until", "Last night seen dry before the first with water; blank if none."),
        date("filled_by", "First night seen with water; blank if it was dry at every look."),
        date("wet_until", "Last night seen with water before the first dry one after it."),
        date("dried_by", "First night seen dry after water; blank if none."),
        whole(
            "held_least",
            "Fewest days with water from the first look to the last. Between two looks that saw "
            "water it is taken to have stayed.",
            "days",
            required=True,
            minimum=0,
        ),
        whole("held_most", "Most days with water.", "days", required=True, minimum=0),
    ),
    key=("stop", "season_year"),
    refers=(("stop", "stops", "stop"),),
)


def _by_class(name: str, what: str) -> Iterator[Cells]:
    yield whole(f"{name}_stops", f"Stops in a season {what}.", "stops", minimum=0)
    yield number(f"{name}_heard", "Share of them where it was heard, not corrected.", **_SHARE)
    yield number(f"{name}_heard_low", "Lower end of its 95% interval.", **_SHARE)
    yield number(f"{name}_heard_high", "Upper end of its 95% interval.", **_SHARE)


WATER_AND_CALLS = Table(
    name="water_and_calls",
    title="Water and calls",
    meaning="How calling goes with the water at stops. Days from the first filling of a season to "
    "the first chorus, call index 2 or 3; and where the species was heard by what visits saw.",
    columns=(
        SPECIES,
        whole(
            "lags",
            "Stops in a season with a chorus and a look that saw water by then.",
            "stops",
            required=True,
            minimum=0,
        ),
        whole("routes", "Routes that these lie on.", "routes", required=True, minimum=0),
        whole(
            "before",
            "Stops in a season with a chorus before the first filling that a look saw; they are "
            "left out.",
            "stops",
            required=True,
            minimum=0,
        ),
        number("lag", "Median days from the first filling to the first chorus.", "days", minimum=0),
        number("lag_low", "Lower end of its 95% interval.", "days", minimum=0),
        number("lag_high", "Upper end of its 95% interval; blank where nothing bounds it.", "days"),
        *_by_class("every_look", "whose water was seen at every look"),
        *_by_class("some_looks", "whose water was seen at some looks and gone at others"),
        *_by_class("no_look", "whose water was gone at every look"),
        METHOD,
        FLAGS,
    ),
    key=("species",),
    refers=(("species", "checklist", "species"),),
)


def _measured(name: str, meaning: str, unit: str, **more: float) -> Iterator[Cells]:
    yield number(name, meaning, unit, **more)
    yield text(f"{name}_station", "Code of the station that measured it.")
    yield whole(
        f"{name}_distance_km",
        "How far that station is from the first stop, as far as its place is shared.",
        "km",
        minimum=0,
    )


STATION_WEATHER = Table(
    name="station_weather",
    title="Weather at stations",
    meaning="What the nearest weather station measured that has a value, for each visit. These are "
    "not the observer’s values, which are in the table of visits.",
    columns=(
        text("visit", "Identifier of the visit.", required=True, unit="UUID"),
        *_measured("rain_48h", "Rain on the day of the night and the day before.", "mm", minimum=0),
        *_measured("rain_7d", "Rain on the day of the night and the six before.", "mm", minimum=0),
        *_measured(
            "rain_season",
            "Rain since the first day of the season year; at most one day in ten is missing.",
            "mm",
            minimum=0,
        ),
        whole("rain_season_missing", "Days of that season without a value.", "days", minimum=0),
        *_measured("high", "Highest air temperature on the day of the night.", "°C"),
        *_measured("low", "Lowest air temperature on the day of the night.", "°C"),
    ),
    key=("visit",),
    refers=(("visit", "visits", "visit"),),
)

_KIND = text("kind", "What was done.", required=True, choices=KINDS)
CHANGES = Table(
    name="changes",
    title="Changes of wetlands",
    meaning="What was done to the wetlands at stops, as the coordinator noted it.",
    columns=(
        STOP,
        _KIND,
        date("began", "First day.", required=True),
        date("ended", "Last day; blank if it was done in one day."),
    ),
    key=("stop", "kind", "began"),
    refers=(("stop", "stops", "stop"),),
)
CHANGE_EFFECTS = Table(
    name="change_effects",
    title="Before and after changes",
    meaning="The odds that a species is at a changed stop, after against before, beyond what the "
    "same season years did at stops where nothing was done; and the shares heard, not corrected.",
    columns=(
        SPECIES,
        _KIND,
        whole("stops", "Changed stops with visits before and after.", "stops", minimum=0),
        whole("routes", "Routes that these lie on.", "routes", minimum=0),
        whole("unchanged", "Stops where nothing was done.", "stops", minimum=0),
        whole("unchanged_routes", "Routes that these lie on.", "routes", minimum=0),
        number("odds", "By what the change multiplied the odds.", "odds ratio", minimum=0),
        number("odds_low", "Lower end of its 95% interval.", "odds ratio", minimum=0),
        number("odds_high", "Upper end of its 95% interval.", "odds ratio", minimum=0),
        *_by_class("before", "before the change"),
        *_by_class("after", "after the change"),
        *_by_class("unchanged_before", "without one, before the middle of the changes"),
        *_by_class("unchanged_after", "without one, after the middle of the changes"),
        METHOD,
        FLAGS,
    ),
    key=("species", "kind"),
    refers=(("species", "checklist", "species"),),
)
