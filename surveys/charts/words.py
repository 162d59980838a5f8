"""Results in plain words. A number always comes with its interval, or with the reason for none.

Pages, files and the printed report use the same words for the same numbers.
"""

from collections.abc import Iterable, Sequence

from surveys.protocol.words import listed
from surveys.trends import FLAGS, Estimate, SpeciesResult, SpeciesYear
from surveys.trends.community import is_told
from surveys.trends.estimates import (
    DID_NOT_CONVERGE,
    EDGE_OF_RANGE,
    FEW_CLUSTERS,
    JOINT_ENTRY_TOLD,
    MEMBERS_TOLD,
    NEVER_HEARD,
    NEVER_HEARD_TWICE,
    NO_EFFORT,
    NO_REPEAT_VISITS,
    NOT_IDENTIFIED,
    POOR_FIT,
    ROUTES_ALIKE,
    TOO_FEW_DATA,
    YEARS_LEFT_OUT,
    merge_flags,
)

MINUS = "\N{MINUS SIGN}"
# Keeps a number and its unit on one line.
UNKNOWN = "not enough data"
NOT_TOLD = "no trend told"
FALLING, RISING, UNCLEAR = "falling", "rising", "no clear change"
MARKS = {FALLING: "▼", RISING: "▲", UNCLEAR: "◆", UNKNOWN: "?"}
# The result of a group that stands beside it is told: no sentence, arrow or line of this one.
_TOLD_BY_ANOTHER = {
    JOINT_ENTRY_TOLD: (
        "fewer than 80% of the records of its group name a species, and the joint entry is told "
        "in its place"
    ),
    MEMBERS_TOLD: (
        "at least 80% of the records of the group name a species, and its species are told in "
        "its place"
    ),
}
SITES = {"stop": "stops", "route": "routes"}
_WHY_NOT = {
    NO_EFFORT: "no one listened for it",
    NEVER_HEARD: "it was never heard",
    NO_REPEAT_VISITS: (
        "no {site} was visited twice in one calling season, so we do not know how often it "
        "is missed where it is present"
    ),
    EDGE_OF_RANGE: "the estimate is at 0% or 100%",
    DID_NOT_CONVERGE: "the calculation found no answer",
    NOT_IDENTIFIED: (
        "the data cannot separate how many {sites} are occupied from how often it is missed there"
    ),
    TOO_FEW_DATA: "there are too few data",
    POOR_FIT: "the model does not fit the data",
    ROUTES_ALIKE: "every route changed in the same way, so nothing tells how uncertain that is",
    FEW_CLUSTERS: "too few routes were surveyed",
}
# Where one of them is why nothing can be corrected, the plain share may be told in its place.
_NO_DETECTION = {NO_REPEAT_VISITS, NEVER_HEARD_TWICE, NOT_IDENTIFIED}


def share(value: float | None) -> str:
    """A share in per cent; with a decimal below 10%."""
    if value is None:
        return ""
    percent = 100 * value
    return f"{percent:.1f}%" if 0 < percent < 9.95 else f"{percent:.0f}%"


def interval(estimate: Estimate) -> str:
    """`28 to 60%`, or blank where there is none."""
    if estimate.low is None or estimate.high is None:
        return ""
    low, high = share(estimate.low), share(estimate.high)
    return f"{low.removesuffix('%')} to {high}"


def share_with_interval(estimate: Estimate) -> str:
    """`40% (28 to 60%)`; the interval alone where there is no value."""
    limits = interval(estimate)
    if estimate.value is None:
        return (
            f"between {limits.replace(' to ', ' and ')}"
            if limits and limits != "0 to 100%"
            else UNKNOWN
        )
    return f"{share(estimate.value)} ({limits})" if limits else share(estimate.value)


def signed(value: float, digits: int = 1) -> str:
    """With a true minus sign; zero has no sign."""
    text = f"{abs(value):.{digits}f}"
    if float(text) == 0:
        return text
    return f"{MINUS if value < 0 else '+'}{text}"


def change_with_interval(estimate: Estimate) -> str:
    """`−7.1% (−10.9 to −3.0%)` a year, or why not."""
    if not is_usable(estimate):
        return UNKNOWN
    return (
        f"{signed(estimate.value or 0)}% "
        f"({signed(estimate.low or 0)} to {signed(estimate.high or 0)}%)"
    )


def told_change(change: Estimate) -> str:
    """A change in a list of species: its number only where it is told in words."""
    return change_with_interval(change) if supports_a_sentence(change) else NOT_TOLD


def is_usable(estimate: Estimate) -> bool:
    """Whether a change may be given as a number."""
    known = None not in (estimate.value, estimate.low, estimate.high)
    return known and not {EDGE_OF_RANGE, DID_NOT_CONVERGE} & set(estimate.flags)


def supports_a_sentence(change: Estimate) -> bool:
    """Whether a change may be told in words, by an arrow and by a line: a number with a flag that
    puts it in doubt stands in the tables only."""
    return is_told(change)


def is_told_by_another(result: SpeciesResult) -> bool:
    """Whether another entry of its group is told in its place."""
    return bool(_TOLD_BY_ANOTHER.keys() & set(result.trend.occupancy.flags))


def has_direction(estimate: Estimate) -> bool:
    """Whether the interval excludes zero."""
    low, high = estimate.low, estimate.high
    return low is not None and high is not None and (low > 0 or high < 0)


def trend_sentence(name: str, result: SpeciesResult, site: str) -> str:
    """The trend in words; of the uncorrected share only where nothing tells how often the species
    is missed."""
    trend, sites = result.trend, SITES[site]
    if not result.years:
        return f"{name}: no accepted visits in its calling season yet."
    first, last = result.years[0].season_year, result.years[-1].season_year
    for flag, why in _TOLD_BY_ANOTHER.items():
        if flag in trend.occupancy.flags:
            return f"{name}: no trend is told here, because {why}. The numbers below still hold."
    if first == last:
        return f"{name}: there is only one season, {first}, so we cannot show a change."
    span = f"between {trend.first_year or first} and {trend.last_year or last}"
    if supports_a_sentence(trend.occupancy):
        what = f"the share of occupied {sites}"
        text = f"{name}: {span} " + _change(trend.occupancy, what, _path(result, trend.line))
        return " ".join([text, *break_sentences(result)])
    why = reason(trend.occupancy, site)
    text = f"{name}: no corrected trend, because {why}."
    if tells_plain_share(result):
        what = f"the uncorrected share of {sites} where it was heard"
        change = _change(trend.naive, what, _path(result, trend.naive_line))
        text += f" Not corrected for animals present but not heard: {span} {change}"
    return " ".join([text, *break_sentences(result)])


def tells_plain_share(result: SpeciesResult) -> bool:
    """Whether the trend of the uncorrected share is told in place of the corrected one: where only
    the chance of detection is missing. Any other doubt is one about the data."""
    trend = result.trend
    unknown = bool(_NO_DETECTION & set(trend.occupancy.flags))
    return unknown and supports_a_sentence(trend.naive)


def steps_of(result: SpeciesResult) -> tuple[int, ...]:
    """The season years at which the line has a step."""
    trend = result.trend
    first, last = trend.first_year or 0, trend.last_year or 0
    return tuple(year for year in trend.breaks if first < year <= last)


def break_sentences(result: SpeciesResult) -> list[str]:
    """What the line does where listening changed, and which seasons are not in it."""
    trend, said = result.trend, []
    steps = steps_of(result)
    if steps:
        said.append(
            f"Listening changed in {listed(steps)}: the line has a step there, "
            "which counts for no change."
        )
    told = {year for year, _ in trend.line}
    over = [year.season_year for year in result.years if not year.is_open]
    left = [year for year in over if year not in told]
    if YEARS_LEFT_OUT in trend.occupancy.flags and left:
        said.append(
            f"Not in the trend: {listed(left)}, on a side of a change of listening in "
            f"{listed(trend.breaks)} with fewer than three seasons."
        )
    said += [
        f"The season of {year.season_year} is still open and not in the trend."
        for year in result.years
        if year.is_open
    ]
    return said


def direction(result: SpeciesResult) -> str:
    """`falling`, `rising`, `no clear change` or `not enough data`: only what is corrected for
    detection has a direction, and only where the interval excludes zero."""
    trend = result.trend.occupancy
    if len(result.years) < 2 or not supports_a_sentence(trend):
        return UNKNOWN
    if not has_direction(trend):
        return UNCLEAR
    return FALLING if (trend.value or 0) < 0 else RISING


def headline(result: SpeciesResult) -> str:
    """The change a year that the direction rests on, or why there is none."""
    trend = result.trend
    if not result.years:
        return "no accepted visits in its calling season yet"
    if len(result.years) == 1:
        return "only one season"
    if supports_a_sentence(trend.occupancy):
        return change_with_interval(trend.occupancy)
    if is_told_by_another(result):
        return next(flag for flag in _TOLD_BY_ANOTHER if flag in trend.occupancy.flags)
    flags = [flag for flag in _WHY_NOT if flag in trend.occupancy.flags]
    why = flags[0] if flags else TOO_FEW_DATA
    if not tells_plain_share(result):
        return why
    return f"{why}; not corrected: {change_with_interval(trend.naive)}"


def reason(estimate: Estimate, site: str) -> str:
    """Why there is no number, from the flags."""
    words = {"site": site, "sites": SITES[site]}
    for flag, why in _WHY_NOT.items():
        if flag in estimate.flags:
            return why.format(**words)
    return "the data are not enough to say"


def trend_line(result: SpeciesResult) -> tuple[Sequence[tuple[int, Estimate]], bool]:
    """The line to draw, and whether it is corrected for detection; empty where there is none."""
    trend = result.trend
    if supports_a_sentence(trend.occupancy):
        return trend.line, True
    return (trend.naive_line if tells_plain_share(result) else ()), False


def chart_alt(name: str, result: SpeciesResult, site: str) -> str:
    """What the picture shows, for readers who cannot see it."""
    years = result.years
    if not years:
        return f"Nothing to draw for {name} yet."
    first, last = years[0], years[-1]
    span = f"{first.season_year} to {last.season_year}"
    parts = [f"Share of {SITES[site]} with {name} in each season, {span}."]
    corrected = [year for year in years if year.occupancy.value is not None]
    if corrected:
        parts.append(f"Corrected for detection: {_course(corrected)}.")
    naive = [year for year in years if year.naive.value is not None]
    if naive:
        start, end = naive[0], naive[-1]
        parts.append(
            f"Heard, not corrected: {share(start.naive.value)} in {start.season_year}, "
            f"{share(end.naive.value)} in {end.season_year}."
        )
    line, is_corrected = trend_line(result)
    if line:
        of = "" if is_corrected else " of the uncorrected share"
        parts.append(f"The trend line{of} runs {_ends(line)}.")
    parts += break_sentences(result)
    return " ".join(parts)


def flag_words(flags: Iterable[str]) -> list[tuple[str, str]]:
    """Flags with their meaning, each once, in the order of first appearance."""
    return [(flag, FLAGS[flag]) for flag in dict.fromkeys(flags) if flag in FLAGS]


def all_flags(result: SpeciesResult) -> list[str]:
    """Flags of the trend and of the yearly values."""
    return list(merge_flags(result.trend.occupancy.flags, *(year.flags for year in result.years)))


def days_words(estimate: Estimate) -> str:
    """The shift of the season in a sentence."""
    value, low, high = estimate.value, estimate.low, estimate.high
    if value is None or low is None or high is None:
        return "These data are not enough to show a shift in the calling season."
    limits = f"95% interval: {signed(low)} to {signed(high)} days"
    if not has_direction(estimate):
        return (
            f"No clear shift in the calling season: {signed(value)} days a decade ({limits}). "
            "It may have moved either way."
        )
    way = "later" if value > 0 else "earlier"
    return f"The calling season moved {abs(value):.1f} days a decade {way} ({limits})."


def _change(estimate: Estimate, what: str, ends: str) -> str:
    value, low, high = estimate.value or 0.0, estimate.low or 0.0, estimate.high or 0.0
    if not has_direction(estimate):
        return (
            f"there is no clear change in {what}: {signed(value)}% a year "
            f"(95% interval: {signed(low)} to {signed(high)}%). It may have fallen or "
            "risen; uncertain does not mean stable."
        )
    near, far = sorted((abs(low), abs(high)))
    path = f", {ends}" if ends else ""
    return (
        f"{what} {'fell' if value < 0 else 'rose'} by {abs(value):.1f}% a year "
        f"(95% interval: {near:.1f} to {far:.1f}%){path}."
    )


def _path(result: SpeciesResult, line: Sequence[tuple[int, Estimate]]) -> str:
    """`from 40% to 28%`; blank where a step lies between, which is no part of the change."""
    return "" if steps_of(result) else _ends(line)


def _ends(line: Sequence[tuple[int, Estimate]]) -> str:
    if not line:
        return ""
    (_, first), (_, last) = line[0], line[-1]
    return f"from {share(first.value)} to {share(last.value)}"


def _course(years: Sequence[SpeciesYear]) -> str:
    first, last = years[0], years[-1]
    parts = [f"{share_with_interval(first.occupancy)} in {first.season_year}"]
    between = years[1:-1]
    if between:
        lowest = min(between, key=lambda year: year.occupancy.value or 0.0)
        highest = max(between, key=lambda year: year.occupancy.value or 0.0)
        parts.append(
            f"between them {share(lowest.occupancy.value)} ({lowest.season_year}) to "
            f"{share(highest.occupancy.value)} ({highest.season_year})"
        )
    if last is not first:
        parts.append(f"{share_with_interval(last.occupancy)} in {last.season_year}")
    return ", ".join(parts)
