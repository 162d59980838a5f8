"""Tables of a publication that hold what is calculated from its visits: shares, trends, checks."""

from __future__ import annotations

from surveys.publishing.cells import (
    FLAGS,
    METHOD,
    SEASON_YEAR,
    SITE,
    SPECIES,
    Cells,
    Table,
    number,
    text,
    whole,
    yes_no,
)
from surveys.trends.columns import COLUMNS as YEARLY_COLUMNS

YEARLY = Table(
    name="yearly",
    title="Yearly table",
    meaning="One row per species and season year; site = stop; shares are not corrected for "
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
        whole("sites", "Sites listened to.", "sites", required=True, minimum=0),
        whole("sites_heard", "Sites where it was heard.", "sites", required=True, minimum=0),
        number("naive", "Sites where it was heard, as a share.", **_SHARE),
        number("naive_low", "Lower end of its 95% interval.", **_SHARE),
        number("naive_high", "Upper end of its 95% interval.", **_SHARE),
        number("occupancy", "Share of sites with the species, corrected.", **_SHARE),
        number("occupancy_low", "Lower end of its 95% interval.", **_SHARE),
        number("occupancy_high", "Upper end of its 95% interval.", **_SHARE),
        number(
            "detection",
            "Chance of hearing it on one visit to a site where it is.",
            **_CHANCE,
        ),
        number("detection_low", "Lower end of its 95% interval.", **_CHANCE),
        number("detection_high", "Upper end of its 95% interval.", **_CHANCE),
        whole(
            "borrowed_from",
            "Number of other species whose detection stands in for that of this one; blank where "
            "it is its own.",
            "species",
            minimum=0,
        ),
        number("trend", "Corrected share on the line of the trend.", **_SHARE),
        number("trend_low", "Lower end of its 95% interval.", **_SHARE),
        number("trend_high", "Upper end of its 95% interval.", **_SHARE),
        number("naive_trend", "Uncorrected share on the line of its own trend.", **_SHARE),
        number("naive_trend_low", "Lower end of its 95% interval.", **_SHARE),
        number("naive_trend_high", "Upper end of its 95% interval.", **_SHARE),
        number(
            "whole",
            "Corrected share in the whole program, its regions weighted; blank without "
            "weights, and in a season without every region.",
            **_SHARE,
        ),
        number("whole_low", "Lower end of its 95% interval.", **_SHARE),
        number("whole_high", "Upper end of its 95% interval.", **_SHARE),
        text("detection_model", "What the chance of hearing it depends on: a code of the method."),
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
        whole("first_year", "First season year of the trend.", "year", minimum=1900, maximum=2200),
        whole("last_year", "Last season year of the trend.", "year", minimum=1900, maximum=2200),
        text("breaks", "Season years in which the way of listening changed, joined by “; ”."),
        yes_no(
            "told",
            "Whether the change is reported in words and by an arrow; no where there is none, or "
            "where a flag puts it in doubt.",
        ),
        number("change", "Change in occupancy per year.", "% per year"),
        number("change_low", "Lower end of its 95% interval.", "% per year"),
        number("change_high", "Upper end of its 95% interval.", "% per year"),
        number("pooled_change", "Change per year without separating routes.", "% per year"),
        number("pooled_change_low", "Lower end of its 95% interval.", "% per year"),
        number("pooled_change_high", "Upper end of its 95% interval.", "% per year"),
        number("naive_change", "Change per year in the uncorrected share.", "% per year"),
        number("naive_change_low", "Lower end of its 95% interval.", "% per year"),
        number("naive_change_high", "Upper end of its 95% interval.", "% per year"),
        number("log_odds", "Slope on the logit scale.", "log odds per year"),
        number("log_odds_low", "Lower end of its 95% interval.", "log odds per year"),
        number("log_odds_high", "Upper end of its 95% interval.", "log odds per year"),
        number("scatter", "Standard deviation of years around the line.", "log odds"),
        number("scatter_low", "Lower end of its 95% interval.", "log odds"),
        number("scatter_high", "Upper end of its 95% interval.", "log odds"),
        number(
            "whole_change",
            "Change in occupancy per year in the whole program, its regions weighted; "
            "blank without weights.",
            "% per year",
        ),
        number("whole_change_low", "Lower end of its 95% interval.", "% per year"),
        number("whole_change_high", "Upper end of its 95% interval.", "% per year"),
        text("whole_flags", "What limits the change in the whole program: codes as in flags."),
        number(
            "chorus_change",
            "Change per year in the share of stops with full chorus, corrected for nights on which "
            "fewer called; blank by route.",
            "% per year",
        ),
        number("chorus_change_low", "Lower end of its 95% interval.", "% per year"),
        number("chorus_change_high", "Upper end of its 95% interval.", "% per year"),
        number(
            "index_odds_change",
            "Change per year in the odds of a higher call index; blank by route.",
            "% per year",
        ),
        number("index_odds_change_low", "Lower end of its 95% interval.", "% per year"),
        number("index_odds_change_high", "Upper end of its 95% interval.", "% per year"),
        text("chorus_flags", "What limits these two changes: codes as in flags."),
        number(
            "shrunken_change",
            "The change pulled toward that of the other species, the more the less it is known; "
            "blank where it is not reported in words, or fewer than three are.",
            "% per year",
        ),
        number("shrunken_change_low", "Lower end of its 95% interval.", "% per year"),
        number("shrunken_change_high", "Upper end of its 95% interval.", "% per year"),
        number(
            "discovery_rate",
            "Lowest false-discovery rate at which the species would be said to change.",
            "share",
            minimum=0.0,
            maximum=1.0,
        ),
        text("detection_model", "What the chance of hearing it depends on: a code of the method."),
        text(
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
        whole("number", "Number of the row; 1 is the reported trend.", required=True, minimum=1),
        text("choice", "What is done differently: a code of the method.", required=True),
        yes_no("applies", "No where there was nothing to leave out."),
        number("change", "Change in occupancy per year.", "% per year"),
        number("change_low", "Lower end of its 95% interval.", "% per year"),
        number("change_high", "Upper end of its 95% interval.", "% per year"),
        whole("routes", "Routes it rests on.", "routes", minimum=0),
        whole("seasons", "Season years it rests on.", "season years", minimum=0),
        FLAGS,
    ),
    key=("species", "site", "number"),
    refers=(("species", "checklist", "species"),),
)

NULL_RUNS = Table(
    name="null_runs",
    title="Null runs",
    meaning="The surveys of each species by stops, simulated without a change and calculated in "
    "the same way: how often they would have shown one. Columns that begin with “whole” are of the "
    "whole program, by the weights of its regions; blank without weights.",
    columns=(
        SPECIES,
        whole(
            "runs",
            "Simulated surveys; 0 where the trend of the data is not reported in words.",
            required=True,
            minimum=0,
        ),
        whole("fell", "Those that would have shown a fall.", required=True, minimum=0),
        whole("rose", "Those that would have shown a rise.", required=True, minimum=0),
        number(
            "false_alarms",
            "Those that would have shown either.",
            "share of runs",
            minimum=0.0,
            maximum=1.0,
        ),
        number(
            "false_alarms_low",
            "Lower end of its 95% interval.",
            "share of runs",
            minimum=0.0,
            maximum=1.0,
        ),
        number(
            "false_alarms_high",
            "Upper end of its 95% interval.",
            "share of runs",
            minimum=0.0,
            maximum=1.0,
        ),
        whole(
            "whole_runs",
            "Simulated surveys of the whole program; 0 where its trend is not reported in words.",
            minimum=0,
        ),
        whole("whole_fell", "Those that would have shown a fall of the whole program.", minimum=0),
        whole("whole_rose", "Those that would have shown a rise of the whole program.", minimum=0),
        number(
            "whole_false_alarms",
            "Those that would have shown either.",
            "share of runs",
            minimum=0.0,
            maximum=1.0,
        ),
        number(
            "whole_false_alarms_low",
            "Lower end of its 95% interval.",
            "share of runs",
            minimum=0.0,
            maximum=1.0,
        ),
        number(
            "whole_false_alarms_high",
            "Upper end of its 95% interval.",
            "share of runs",
            minimum=0.0,
            maximum=1.0,
        ),
    ),
    key=("species",),
    refers=(("species", "checklist", "species"),),
)
