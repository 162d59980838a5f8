"""Whether the told sentence stands under other choices, in words."""

from surveys.charts.words import (
    UNKNOWN,
    change_with_interval,
    has_direction,
    is_told_by_another,
    is_usable,
    supports_a_sentence,
)
from surveys.language import gettext, said, said_of
from surveys.language import gettext_noop as _
from surveys.protocol.words import listed
from surveys.trends import Estimate, SpeciesResult
from surveys.trends.choices import BY_ROUTE, CHOICES
from surveys.trends.estimates import FLAG_NAMES, LEVEL_NOT_KNOWN, NOT_IDENTIFIED
from surveys.trends.species_result import SensitivityLine

# What a line says, and its words.
FELL, ROSE, UNCLEAR = "fell", "rose", "unclear"
_SAYS = {
    FELL: _("fell"),
    ROSE: _("rose"),
    UNCLEAR: _("no clear change"),
    UNKNOWN: _("not enough data"),
    NOT_IDENTIFIED: _("no estimate possible"),
}
_NOTHING_LEFT_OUT = _("nothing to leave out")
# Choice, change per year with its interval, what the sentence would say.
CheckRow = tuple[str, str, str]


def what_it_says(change: Estimate) -> str:
    """`FELL`, `ROSE`, `UNCLEAR`, or that it cannot be said: `UNKNOWN`, or `NOT_IDENTIFIED` where
    the data say nothing of it at all; not translated."""
    if NOT_IDENTIFIED in change.flags:
        return NOT_IDENTIFIED
    if not supports_a_sentence(change):
        return UNKNOWN
    if not has_direction(change):
        return UNCLEAR
    return FELL if (change.value or 0) < 0 else ROSE


def check_rows(result: SpeciesResult) -> list[CheckRow]:
    """A row a choice, the told one first; none where no change is told."""
    if not _tells_a_change(result):
        return []
    return [
        (
            _choice_words(line),
            change_with_interval(line.change) if line.applies and is_usable(line.change) else "",
            _says_with_remark(line.change) if line.applies else gettext(_NOTHING_LEFT_OUT),
        )
        for line in result.sensitivity
    ]


def _tells_a_change(result: SpeciesResult) -> bool:
    return (
        bool(result.sensitivity)
        and supports_a_sentence(result.sensitivity[0].change)
        and not is_told_by_another(result)
    )


def _says_with_remark(change: Estimate) -> str:
    says = gettext(_SAYS[what_it_says(change)])
    if LEVEL_NOT_KNOWN not in change.flags:
        return says
    return said("{says} ({remark})", says=says, remark=gettext(FLAG_NAMES[LEVEL_NOT_KNOWN]))


def _choice_words(line: SensitivityLine) -> str:
    return gettext(CHOICES.get(line.name, line.name))


def check_sentence(result: SpeciesResult) -> str:
    """At a glance: is the answer the same? Blank where nothing was checked."""
    if not result.sensitivity:
        return ""
    told, *others = result.sensitivity
    if not _tells_a_change(result):
        return gettext("No trend is reported, so there is nothing to check.")
    tried = [line for line in others if line.applies and supports_a_sentence(line.change)]
    says = what_it_says(told.change)
    if not tried:
        return gettext("No other choice could be tried.")
    against = [line for line in tried if what_it_says(line.change) != says]
    if not against:
        return said_of(
            "The answer is the same under the one other choice that could be tried.",
            "The answer is the same under all {number} other choices that could be tried.",
            len(tried),
        )
    named = listed(
        said(
            "{choice} ({says})",
            choice=_choice_words(line),
            says=gettext(_SAYS[what_it_says(line.change)]),
        )
        for line in against
    )
    return said(
        "The answer differs under {number} of {tried} other choices: {named}.",
        number=len(against),
        tried=len(tried),
        named=named,
    )


def by_stop_and_by_route(result: SpeciesResult) -> tuple[str, str] | None:
    """The change by stop and by route, where they say different things; else None."""
    routes = next((line for line in result.sensitivity if line.name == BY_ROUTE), None)
    if routes is None or is_told_by_another(result):
        return None
    stops = result.sensitivity[0]
    says = [what_it_says(line.change) for line in (stops, routes)]
    if not {FELL, ROSE, UNCLEAR}.issuperset(says) or says[0] == says[1]:
        return None
    return change_with_interval(stops.change), change_with_interval(routes.change)
