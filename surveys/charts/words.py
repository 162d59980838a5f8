"""Results in plain words. A number always comes with its interval, or with the reason for none.

Pages, files and the printed report use the same words for the same numbers.
"""

from collections.abc import Iterable, Mapping, Sequence

from surveys.charts.borrowed import borrowed_words
from surveys.charts.trend_texts import HEARD, OCCUPIED, ChangeTexts
from surveys.language import gettext, said
from surveys.language import gettext_noop as _
from surveys.protocol.words import listed, number
from surveys.trends import FLAGS, Estimate, SpeciesResult
from surveys.trends.community import is_told
from surveys.trends.estimates import (
    DID_NOT_CONVERGE,
    EDGE_OF_RANGE,
    FEW_CLUSTERS,
    FLAG_NAMES,
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
from surveys.trends.former_codes import current_codes

MINUS = "\N{MINUS SIGN}"
# Keys of what is told, and as they are written.
UNKNOWN = _("not enough data")
NOT_TOLD = _("no trend reported")
FALLING, RISING, UNCLEAR = _("falling"), _("rising"), _("no clear change")
MARKS = {FALLING: "▼", RISING: "▲", UNCLEAR: "◆", NOT_TOLD: "?"}
# The result of a group that stands beside it is told: no sentence, arrow or line of this one.
_TOLD_BY_ANOTHER = {
    JOINT_ENTRY_TOLD: _(
        "fewer than 80% of the records of its group name a species, and the joint entry is "
        "reported instead"
    ),
    MEMBERS_TOLD: _(
        "at least 80% of the records of the group name a species, and its species are reported "
        "instead"
    ),
}
SITES = {"stop": _("stops"), "route": _("routes")}
_ONE_SITE = {"stop": _("stop"), "route": _("route")}
_WHY_NOT = {
    NO_EFFORT: _("no one listened for it"),
    NEVER_HEARD: _("it was never heard"),
    NO_REPEAT_VISITS: _(
        "no {site} was visited twice in one calling season, so we do not know how often it "
        "is missed where it is present"
    ),
    EDGE_OF_RANGE: _("the estimate is at 0% or 100%"),
    DID_NOT_CONVERGE: _("the calculation found no answer"),
    NOT_IDENTIFIED: _(
        "the data cannot separate how many {sites} are occupied from how often it is missed there"
    ),
    TOO_FEW_DATA: _("there are too few data to say"),
    POOR_FIT: _("the model does not fit the data"),
    ROUTES_ALIKE: _("every route changed in the same way, so nothing shows how uncertain that is"),
    FEW_CLUSTERS: _("too few routes were surveyed"),
}
# Where one of them is why nothing can be corrected, the plain share may be told in its place.
_NO_DETECTION = {NO_REPEAT_VISITS, NEVER_HEARD_TWICE, NOT_IDENTIFIED}


def share(value: float | None) -> str:
    """A share in per cent; with a decimal below 10%."""
    if value is None:
        return ""
    return said("{number}%", number=_percent(value))


def _percent(value: float) -> str:
    percent = 100 * value
    return number(f"{percent:.1f}" if 0 < percent < 9.95 else f"{percent:.0f}")


def sites_in_words(site: str) -> str:
    """`stops` or `routes`."""
    return gettext(SITES[site])


def unknown() -> str:
    """What stands where the data are not enough for a number."""
    return gettext(UNKNOWN)


def interval(estimate: Estimate) -> str:
    """`28 to 60%`, or blank where there is none."""
    if estimate.low is None or estimate.high is None:
        return ""
    return said("{low} to {high}%", low=_percent(estimate.low), high=_percent(estimate.high))


def share_with_interval(estimate: Estimate) -> str:
    """`40% (28 to 60%)`; the interval alone where there is no value."""
    limits = interval(estimate)
    if estimate.value is None:
        low, high = _percent(estimate.low or 0), _percent(estimate.high or 0)
        if not limits or (low, high) == ("0", "100"):
            return unknown()
        return said("between {low} and {high}%", low=low, high=high)
    return f"{share(estimate.value)} ({limits})" if limits else share(estimate.value)


def signed(value: float, digits: int = 1) -> str:
    """With a true minus sign; zero has no sign."""
    digits_only = f"{abs(value):.{digits}f}"
    text = number(digits_only)
    if float(digits_only) == 0:
        return text
    return f"{MINUS if value < 0 else '+'}{text}"


def change_with_interval(estimate: Estimate) -> str:
    """`−7.1% (−10.9 to −3.0%)` a year, or why not."""
    if not is_usable(estimate):
        return unknown()
    return said(
        "{change}% ({low} to {high}%)",
        change=signed(estimate.value or 0),
        low=signed(estimate.low or 0),
        high=signed(estimate.high or 0),
    )


def told_change(change: Estimate) -> str:
    """A change in a list of species: its number only where it is told in words."""
    return change_with_interval(change) if supports_a_sentence(change) else gettext(NOT_TOLD)


def written_change(row: Mapping[str, str]) -> str:
    """The same of a row of the published table of trends."""
    value, low, high = (
        float(row[name]) if row[name] else None for name in ("change", "change_low", "change_high")
    )
    flags = tuple(current_codes(filter(None, row["flags"].split("; "))))
    return told_change(
        Estimate(
            name="change", value=value, low=low, high=high, interval="", method="", flags=flags
        )
    )


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


def change_numbers(estimate: Estimate) -> dict[str, str]:
    """`change`, `low` and `high` of a sentence: without signs, the nearer end first, where the
    words say whether it fell or rose."""
    value, low, high = estimate.value or 0.0, estimate.low or 0.0, estimate.high or 0.0
    if not has_direction(estimate):
        return {"change": signed(value), "low": signed(low), "high": signed(high)}
    near, far = sorted((abs(low), abs(high)))
    amounts = {"change": abs(value), "low": near, "high": far}
    return {name: number(f"{amount:.1f}") for name, amount in amounts.items()}


def trend_sentence(name: str, result: SpeciesResult, site: str) -> str:
    """The trend in words; of the uncorrected share only where nothing tells how often the species
    is missed."""
    trend = result.trend
    if not result.years:
        return said("{name}: not surveyed in its calling season yet.", name=name)
    first, last = result.years[0].season_year, result.years[-1].season_year
    for flag, why in _TOLD_BY_ANOTHER.items():
        if flag in trend.occupancy.flags:
            return said(
                "{name}: no trend is reported here, because {why}. The numbers below still hold.",
                name=name,
                why=gettext(why),
            )
    if first == last:
        return said(
            "{name}: there is only one season, {year}, so we cannot show a change.",
            name=name,
            year=first,
        )
    span = {
        "name": name,
        "first": trend.first_year or first,
        "last": trend.last_year or last,
        "sites": sites_in_words(site),
    }
    if supports_a_sentence(trend.occupancy):
        text = _change(OCCUPIED, trend.occupancy, _path(result, trend.line), span)
        return " ".join([text, *break_sentences(result)])
    why = reason(trend.occupancy, site)
    texts = [said("{name}: no corrected trend, because {why}.", name=name, why=why)]
    if tells_plain_share(result):
        texts.append(_change(HEARD, trend.naive, _path(result, trend.naive_line), span))
    return " ".join(filter(None, [*texts, borrowed_words(result), *break_sentences(result)]))


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
    trend, texts = result.trend, []
    steps = steps_of(result)
    if steps:
        texts.append(
            said(
                "Listening changed in {years}: the line has a step there, which counts for no "
                "change.",
                years=listed(steps),
            )
        )
    told = {year for year, _share in trend.line}
    over = [year.season_year for year in result.years if not year.is_open]
    left = [year for year in over if year not in told]
    if YEARS_LEFT_OUT in trend.occupancy.flags and left:
        texts.append(
            said(
                "Not in the trend: {years}, on a side of a change of listening in {breaks} with "
                "fewer than three seasons.",
                years=listed(left),
                breaks=listed(trend.breaks),
            )
        )
    return texts + [
        said("The season of {year} is still open and not in the trend.", year=year.season_year)
        for year in result.years
        if year.is_open
    ]


def direction(result: SpeciesResult) -> str:
    """`FALLING`, `RISING`, `UNCLEAR` or `NOT_TOLD`, not translated: only what is corrected for
    detection has a direction, and only where the interval excludes zero."""
    trend = result.trend.occupancy
    if len(result.years) < 2 or not supports_a_sentence(trend):
        return NOT_TOLD
    if not has_direction(trend):
        return UNCLEAR
    return FALLING if (trend.value or 0) < 0 else RISING


def headline(result: SpeciesResult) -> str:
    """The change per year that the direction rests on, or why there is none."""
    trend = result.trend
    if not result.years:
        return gettext("not surveyed in its calling season yet")
    if len(result.years) == 1:
        return gettext("only one season")
    if supports_a_sentence(trend.occupancy):
        return change_with_interval(trend.occupancy)
    if is_told_by_another(result):
        flag = next(flag for flag in _TOLD_BY_ANOTHER if flag in trend.occupancy.flags)
        return gettext(FLAG_NAMES[flag])
    flags = [flag for flag in _WHY_NOT if flag in trend.occupancy.flags]
    why = gettext(FLAG_NAMES[flags[0] if flags else TOO_FEW_DATA])
    if not tells_plain_share(result):
        return why
    return said("{why}; not corrected: {change}", why=why, change=change_with_interval(trend.naive))


def reason(estimate: Estimate, site: str) -> str:
    """Why there is no number, from the flags."""
    words = {"site": gettext(_ONE_SITE[site]), "sites": sites_in_words(site)}
    for flag, why in _WHY_NOT.items():
        if flag in estimate.flags:
            return said(why, **words)
    return gettext("the data are not enough to say")


def trend_line(result: SpeciesResult) -> tuple[Sequence[tuple[int, Estimate]], bool]:
    """The line to draw, and whether it is corrected for detection; empty where there is none."""
    trend = result.trend
    if supports_a_sentence(trend.occupancy):
        return trend.line, True
    return (trend.naive_line if tells_plain_share(result) else ()), False


def flag_words(flags: Iterable[str]) -> list[tuple[str, str]]:
    """Flags with their meaning, each once, in the order of first appearance."""
    known = [flag for flag in dict.fromkeys(flags) if flag in FLAGS]
    return [(gettext(FLAG_NAMES[flag]), gettext(FLAGS[flag])) for flag in known]


def flags_in_words(flags: Iterable[str]) -> str:
    """`one visit per season; years without a share`. Where nothing was surveyed, it goes without
    saying that there are too few data."""
    codes = list(current_codes(flags))
    if NO_EFFORT in codes:
        codes = [code for code in codes if code != TOO_FEW_DATA]
    return gettext("; ").join(gettext(FLAG_NAMES.get(code, code)) for code in codes)


def written_flags_in_words(text: str) -> str:
    """The same of flags as the tables of a publication write them, in one text."""
    return flags_in_words(filter(None, text.split("; ")))


def all_flags(result: SpeciesResult) -> list[str]:
    """Flags of the trends and of the yearly values."""
    whole = result.whole.change.flags if result.whole else ()
    years = (year.flags for year in result.years)
    return list(merge_flags(result.trend.occupancy.flags, whole, *years))


def days_words(estimate: Estimate) -> str:
    """The shift of the season in a sentence."""
    value, low, high = estimate.value, estimate.low, estimate.high
    if value is None or low is None or high is None:
        return gettext("These data are not enough to show a shift in the calling season.")
    limits = {"low": signed(low), "high": signed(high)}
    if not has_direction(estimate):
        return said(
            "No clear shift in the calling season: {days} days per decade "
            "(95% interval: {low} to {high} days). It may have moved either way.",
            days=signed(value),
            **limits,
        )
    days = number(f"{abs(value):.1f}")
    if value > 0:
        return said(
            "The calling season moved {days} days per decade later "
            "(95% interval: {low} to {high} days).",
            days=days,
            **limits,
        )
    return said(
        "The calling season moved {days} days per decade earlier "
        "(95% interval: {low} to {high} days).",
        days=days,
        **limits,
    )


def _change(
    texts: ChangeTexts, estimate: Estimate, path: Mapping[str, str], span: Mapping[str, object]
) -> str:
    """A change in a sentence; `path` tells where the line begins and ends, if anywhere."""
    numbers = change_numbers(estimate)
    if not has_direction(estimate):
        return said(texts.unclear, **span, **numbers)
    if (estimate.value or 0.0) < 0:
        text = texts.fell_from if path else texts.fell
    else:
        text = texts.rose_from if path else texts.rose
    return said(text, **span, **numbers, **path)


def _path(result: SpeciesResult, line: Sequence[tuple[int, Estimate]]) -> dict[str, str]:
    """Where the line begins and ends; empty where a step lies between, which is no part of the
    change."""
    return {} if steps_of(result) else ends_of(line)


def ends_of(line: Sequence[tuple[int, Estimate]]) -> dict[str, str]:
    if not line:
        return {}
    (_first, first), (_last, last) = line[0], line[-1]
    return {"start": share(first.value), "end": share(last.value)}
