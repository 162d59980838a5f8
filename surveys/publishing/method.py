"""How a publication was made, in words that travel with it."""

import textwrap
from collections.abc import Iterable

from surveys.dates import day
from surveys.models import (
    Program,
    ProtocolVersion,
)

# Common practice, no source, except where a text names one.
CAVEATS = (
    (
        "Uncorrected occupancy is not corrected for animals present but not heard. It is too "
        "low, and it changes when detection changes, even if the animals do not."
    ),
    "Stops along roads are not a random sample of wetlands.",
    "Only calling males are heard.",
    "A stop is a place to listen from, not a population.",
    "Stops of one route are not independent. To judge a change, resample routes, not stops.",
    (
        "Calling follows the weather of the year. A survey window on fixed dates can fall "
        "early or late in a season."
    ),
    "A change of protocol or of the set of routes is a break in the series.",
    (
        "Fewer than about five years, or fewer than about ten stops with the species, give no "
        "usable trend."
    ),
    "The call index is an ordered class. Its mean is descriptive only.",
)

COUNTED = (
    ("The tables hold accepted visits only, and only what review did not exclude from trends."),
    (
        "A surveyed stop is a zero for every species on the checklist of that night without "
        "a record. A stop that was skipped or not reached is missing, never zero."
    ),
    (
        "“Heard, not sure” and records excluded in review are missing for that species at "
        "that stop, neither heard nor silent."
    ),
    (
        "A joint entry stands for species that are hard to tell apart by ear. Where it was "
        "recorded, those of its species that were not are missing at that stop. A record of "
        "one of its species counts for the joint entry. A season year in which fewer than 80% of "
        "these records name a species has no shares for the species."
    ),
    (
        "A species enters a row only with nights when it was on the checklist, because only "
        "those nights have zeros for it."
    ),
    (
        "A night is the date on which its evening began. A season year has the label of the "
        "calendar year in which the season ends."
    ),
    "A stop that was moved is a new stop.",
    (
        "Uncorrected occupancy is stops with the species divided by stops surveyed, with the "
        "Wilson "
        "score interval at 95% (Newcombe 1998, Statistics in Medicine 17:857-872, method 3)."
    ),
)

CORRECTED = (
    (
        "Shares corrected for animals present but not heard come from the single-season "
        "occupancy model (MacKenzie et al. 2002, Ecology 83:2248-2255), year by year, with "
        "profile-likelihood intervals at 95%. Only the calling season of a species is used."
    ),
    (
        "The chance of hearing a species may depend on the night, the temperature, the time after "
        "sunset, wind, noise, rain before and water that night; the chance that it is there on "
        "habitat, fish and how long the water stays. How much of this a species carries is chosen "
        "by AIC."
    ),
    (
        "Each trend is checked against surveys simulated from it (MacKenzie and Bailey 2004, "
        "Journal of Agricultural, Biological, and Environmental Statistics 9:300-318). Where the "
        "data fit poorly, a flag says so, no sentence is told of the trend, and the intervals of "
        "single seasons are widened."
    ),
    (
        "The trend is a line through a level for each season year, within routes. Its interval "
        "lets the stops of a route are correlated and knows that good and bad years move all "
        "routes together."
    ),
    (
        "Where the rules for listening or the stops changed on at least a tenth of the surveys, "
        "the line has a step that counts for no change; a side of the step with fewer than three "
        "season years is left out. A season whose windows are not over is in no trend."
    ),
    (
        "The table “sensitivity” works the trend out again under other choices that an analyst "
        "could have made."
    ),
    (
        "The species are also seen together: each trend pulled toward the others, the more the "
        "less it is known (Rubin 1981, Journal of Educational Statistics 6:377-401), and the "
        "false-discovery rate at which it would be said to change (Benjamini and Hochberg 1995, "
        "Journal of the Royal Statistical Society B 57:289-300)."
    ),
    (
        "The null run simulates the surveys of each species without a change: the same routes, "
        "stops, nights and gaps, years that scatter as much, stops that keep their luck and share "
        "it with their route as they did. Each is worked out under the models chosen for the data. "
        "It counts how often a fall or a rise would have been told."
    ),
    "If the data are not enough for a number, it is blank, and its flags say why.",
    (
        "Every number follows from the tables of this publication alone. The folder “reproduce” "
        "holds a script that recomputes all of them."
    ),
)

PRIVACY = (
    (
        "Places are rounded to a grid, as coarsely as the program shares them and as the most "
        "sensitive species ever recorded on the route asks for (Chapman 2020, "
        "doi:10.15468/doc-5jp4-5g10). The stops table says for each stop what was done."
    ),
    (
        "Observers appear by name only if they agreed to it; otherwise under a pseudonym "
        "that stays the same in every publication."
    ),
)


def title_of(program: Program, first_year: int, last_year: int) -> str:
    years = f"season year {last_year}"
    if first_year < last_year:
        years = f"season years {first_year} to {last_year}"
    return f"{program.name}: calling survey data and trends, {years}"


def method_text(
    *,
    title: str,
    software: str,
    versions: Iterable[ProtocolVersion],
    visit_count: int,
    open_count: int,
) -> str:
    """Plain text, wrapped, lines ending in LF."""
    review = (
        "No visit of these season years was still in review."
        if open_count == 0
        else f"Not in the tables: {open_count} visit(s) of these season years still in review."
    )
    parts = [
        [title, "=" * len(title)],
        [textwrap.fill(f"Made with {software} from {visit_count} accepted visits. {review}", 88)],
        _section("What counts", COUNTED),
        _section("Corrected shares and trends", CORRECTED),
        _section("Places and people", PRIVACY),
        _section("Protocols of these visits", map(_protocol_words, versions)),
        _section("Read with care", CAVEATS),
    ]
    return "\n\n".join("\n".join(part) for part in parts) + "\n"


def _section(heading: str, sentences: Iterable[str]) -> list[str]:
    return [
        heading,
        "-" * len(heading),
        *(
            textwrap.fill(sentence, width=88, initial_indent="- ", subsequent_indent="  ")
            for sentence in sentences
        ),
    ]


def _protocol_words(version: ProtocolVersion) -> str:
    first = f"{version}, in force from {day(version.in_force_from)}."
    return f"{first} Source of its limits: {version.source}" if version.source else first
