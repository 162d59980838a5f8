"""How a publication was made, in words that travel with it."""

import textwrap
from collections.abc import Iterable, Iterator

from surveys.charts.method_words import METHOD_CODES
from surveys.charts.model_words import MODEL_CODES
from surveys.dates import day
from surveys.language import gettext, said, said_of
from surveys.language import gettext_noop as _
from surveys.models import (
    Program,
    ProtocolVersion,
)
from surveys.trends.choices import CHOICES
from surveys.trends.estimates import FLAGS

# Common practice, no source, except where a text names one.
CAVEATS = (
    _(
        "Uncorrected occupancy is not corrected for animals present but not heard. It is too "
        "low, and it changes when detection changes, even if the animals do not."
    ),
    _("Stops along roads are not a random sample of wetlands."),
    _("Only calling males are heard."),
    _("A stop is a place to listen from, not a population."),
    _("Stops of one route are not independent. To judge a change, resample routes, not stops."),
    _(
        "Calling follows the weather of the year. A survey window on fixed dates can fall "
        "early or late in a season."
    ),
    _(
        "A change of the listening rules or of the stops on a tenth of the surveys is a break in "
        "the series."
    ),
    _("With fewer than five years, or fewer than ten stops with the species, there is no trend."),
    _("The call index is an ordered class. Its mean is descriptive only."),
)

COUNTED = (
    _("The tables hold accepted visits only, and only what review did not exclude from trends."),
    _(
        "A surveyed stop is a zero for every species on the checklist of that night without "
        "a record. A stop that was skipped or not reached is missing, never zero."
    ),
    _(
        "“Heard, not sure”, a species that an imported file has no record of, and records "
        "excluded in review are missing for that species at that stop, neither heard nor silent."
    ),
    _(
        "Where a protocol has a listening radius, a species that was heard only beyond it counts "
        "as 0 at that stop. The column far_index of the table of calls keeps its call index."
    ),
    _(
        "A joint entry stands for species that are hard to tell apart by ear. Where it was "
        "recorded, those of its species that were not are missing at that stop. A record of "
        "one of its species counts for the joint entry. A season year in which fewer than 80% of "
        "these records name a species has no shares for the species."
    ),
    _(
        "A species enters a row only with nights when it was on the checklist, because only "
        "those nights have zeros for it."
    ),
    _(
        "A night is the date on which its evening began. A season year has the label of the "
        "calendar year in which the season ends."
    ),
    _("A stop that was moved is a new stop."),
    _("Own fields of the program are in the tables own_fields and own_values. No trend uses them."),
    _(
        "Uncorrected occupancy is stops with the species divided by stops surveyed, with the "
        "Wilson "
        "score interval at 95% (Newcombe 1998, Statistics in Medicine 17:857–872, method 3)."
    ),
)

CORRECTED = (
    _(
        "Shares corrected for animals present but not heard come from the single-season "
        "occupancy model (MacKenzie et al. 2002, Ecology 83:2248–2255), year by year. Their 95% "
        "intervals are by profile likelihood. Only the calling season of a species is used."
    ),
    _(
        "Where no site was visited twice in a season, the chance of hearing a species is borrowed: "
        "it is one more draw from the chances of the other species of that season (Dorazio and "
        "Royle 2005, Journal of the American Statistical Association 100:389–398). The share then "
        "has the flag “detection borrowed from other species”, the table gives their number, and "
        "no trend is made of it."
    ),
    _(
        "The chance of hearing a species may depend on the night, the temperature, the time after "
        "sunset, wind, noise, rain before and water that night. The chance that it is there may "
        "depend on habitat, fish and how long the water stays. How much of this a species carries "
        "is chosen by AIC."
    ),
    _(
        "Each trend is checked against surveys simulated from it (MacKenzie and Bailey 2004, "
        "Journal of Agricultural, Biological, and Environmental Statistics 9:300–318). Where the "
        "data fit poorly, a flag says so, no trend is reported in words, and the intervals of "
        "single seasons are widened."
    ),
    _(
        "The trend is a line through a level for each season year, within routes. Its interval "
        "allows for the stops of a route being alike, and for good and bad years that move all "
        "routes together."
    ),
    _(
        "Where the program gives its regions weights, its share of each season year is the "
        "weighted mean of the shares of the regions, each from levels of its own (Cochran "
        "1977, Sampling Techniques, chapter 5). Without weights, nothing is reported for the whole "
        "program: the trends are of the surveyed routes."
    ),
    _(
        "The trend of full chorus is a line through a level for each season year too, by stop, "
        "from the call index as ordered classes corrected for nights on which fewer called (Royle "
        "and Link 2005, Ecology 86:2505–2512). Every visit is taken as equally good."
    ),
    _(
        "Where the rules for listening or the stops changed on at least a tenth of the surveys, "
        "the line has a step that counts for no change. A side of the step with fewer than three "
        "season years is left out. A season whose windows are not over is in no trend."
    ),
    _(
        "The table “sensitivity” calculates the trend again under other choices that an analyst "
        "could have made."
    ),
    _(
        "The species are also seen together: each trend pulled toward the others, the more the "
        "less it is known (Rubin 1981, Journal of Educational Statistics 6:377–401), and the "
        "false-discovery rate at which it would be said to change (Benjamini and Hochberg 1995, "
        "Journal of the Royal Statistical Society B 57:289–300)."
    ),
    _(
        "The null run simulates the surveys of each species without a change: the same routes, "
        "stops, nights and gaps. Years, routes and stops differ from each other as much as "
        "they did. The trend of each is calculated with the models chosen for the data. "
        "It counts how often a fall or a rise would have been reported. Where the regions of the "
        "program have weights, the whole program is simulated in the same way, region by region, "
        "with good and bad years that all regions share."
    ),
    _("If the data are not enough for a number, it is blank, and its flags say why."),
    _(
        "Every number follows from the tables of this publication alone. The folder “reproduce” "
        "holds a script that recomputes all of them."
    ),
)

PRIVACY = (
    _(
        "Places are rounded to a grid, as coarsely as the program shares them and as the most "
        "sensitive species ever recorded on the route asks for (Chapman 2020, "
        "doi:10.15468/doc-5jp4-5g10). The stops table says for each stop what was done."
    ),
    _(
        "Observers appear by name only if they agreed to it; otherwise under a pseudonym "
        "that stays the same in every publication."
    ),
)


def title_of(program: Program, first_year: int, last_year: int) -> str:
    if first_year < last_year:
        return said(
            "{program}: calling survey data and trends, season years {first} to {last}",
            program=program.name,
            first=first_year,
            last=last_year,
        )
    return said(
        "{program}: calling survey data and trends, season year {year}",
        program=program.name,
        year=last_year,
    )


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
        gettext("No visit of these season years was still in review.")
        if open_count == 0
        else said_of(
            "Not in the tables: {number} visit of these season years still in review.",
            "Not in the tables: {number} visits of these season years still in review.",
            open_count,
        )
    )
    made = said_of(
        "Made with {software} from {number} accepted visit.",
        "Made with {software} from {number} accepted visits.",
        visit_count,
        software=software,
    )
    parts = [
        [title, "=" * len(title)],
        [textwrap.fill(f"{made} {review}", 88)],
        _section(_("What counts"), COUNTED),
        _section(_("Corrected shares and trends"), CORRECTED),
        _section(_("Places and people"), PRIVACY),
        _section(_("Protocols of these visits"), map(_protocol_words, versions)),
        _section(_("Read with care"), CAVEATS),
        _section(_("Codes in the tables"), _codes()),
    ]
    return "\n\n".join("\n".join(part) for part in parts) + "\n"


def _section(heading: str, sentences: Iterable[str]) -> list[str]:
    """A heading and its list, in the reader's language."""
    heading = gettext(heading)
    return [
        heading,
        "-" * len(heading),
        *(
            textwrap.fill(gettext(sentence), width=88, initial_indent="- ", subsequent_indent="  ")
            for sentence in sentences
        ),
    ]


def _codes() -> Iterator[str]:
    """Every code that stands in the tables of results, with what it means. `N` is a number that
    stands behind a code, as in `surveys:200`."""
    for code, meaning in FLAGS.items():
        yield said("{code}: {meaning}", code=code, meaning=gettext(meaning))
    for code, words in {**CHOICES, **MODEL_CODES, **METHOD_CODES}.items():
        meaning = gettext(words)
        written = f"{code}:N" if "{number}" in meaning else code
        yield said("{code}: {meaning}", code=written, meaning=meaning.replace("{number}", "N"))


def _protocol_words(version: ProtocolVersion) -> str:
    first = said(
        "{version}, in effect from {day}.", version=version, day=day(version.in_force_from)
    )
    if not version.source:
        return first
    return f"{first} {said('Source of its limits: {source}', source=version.source)}"
