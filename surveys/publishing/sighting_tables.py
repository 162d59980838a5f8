"""Published tables of the animals that were seen rather than heard."""

from __future__ import annotations

from surveys.publishing.cells import FLAGS, METHOD, SEASON_YEAR, SPECIES, Table, number, text, whole
from surveys.trends.sightings import TRAITS

_SHARE = {"unit": "share", "minimum": 0.0, "maximum": 1.0}

SIGHTINGS = Table(
    name="sightings",
    title="Sightings",
    meaning="Animals seen on the visits, beside what was heard. No stop is given.",
    columns=(
        text("visit", "Identifier of the visit.", required=True, unit="UUID"),
        whole("number", "Number of the row on the sheet.", required=True, minimum=0),
        SPECIES,
        text(
            "life_stage",
            "What was seen.",
            required=True,
            choices=("eggs", "larva", "metamorph", "juvenile", "adult"),
        ),
        whole("count", "How many; blank where no number was noted.", "animals", minimum=0),
        text("color_form", "Color form, as the observer wrote it."),
    ),
    key=("visit", "number"),
    refers=(("visit", "visits", "visit"),),
)
SIGHTING_SHARES = Table(
    name="sighting_shares",
    title="Color forms and life stages",
    meaning="The share of each color form among the animals whose form was noted, and of each life "
    "stage among the sightings, by region and season year.",
    columns=(
        SPECIES,
        text("region", "Region of the routes; blank for all together."),
        SEASON_YEAR,
        text("trait", "Color form or life stage.", required=True, choices=TRAITS),
        text("value", "The form or the stage.", required=True),
        whole(
            "number", "Animals of the form, or sightings of the stage.", required=True, minimum=0
        ),
        whole("of", "Those of which it is known.", required=True, minimum=1),
        whole("routes", "Routes that they were seen on.", "routes", required=True, minimum=1),
        number("share", "Share.", **_SHARE),
        number("share_low", "Lower end of its 95% interval.", **_SHARE),
        number("share_high", "Upper end of its 95% interval.", **_SHARE),
        METHOD,
        FLAGS,
    ),
    key=("species", "region", "season_year", "trait", "value"),
)
