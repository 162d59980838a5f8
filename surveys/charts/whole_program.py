"""The whole program, its regions weighted, in words."""

from surveys.charts.words import (
    change_numbers,
    has_direction,
    reason,
    share_with_interval,
    sites_in_words,
    supports_a_sentence,
)
from surveys.language import gettext, said
from surveys.language import gettext_noop as _
from surveys.trends import SpeciesResult
from surveys.trends.estimates import (
    REGION_FEW_ROUTES,
    REGION_NOT_SURVEYED,
    REGION_NOT_WEIGHTED,
    REGION_UNKNOWN,
)
from surveys.trends.whole_program import FEWEST_ROUTES_OF_A_REGION

_WHY_NOT = {
    REGION_NOT_WEIGHTED: _("some routes lie in a region without a weight, or in none"),
    REGION_NOT_SURVEYED: _("a region with a weight has no surveys of it"),
    REGION_FEW_ROUTES: _("a region has fewer than {fewest} routes"),
    REGION_UNKNOWN: _("the surveys of a region are not enough for its share"),
}
_FELL = _(
    "In the whole program, with its regions weighted, the share of occupied {sites} fell by "
    "{change}% per year (95% interval: {low} to {high}%)."
)
_ROSE = _(
    "In the whole program, with its regions weighted, the share of occupied {sites} rose by "
    "{change}% per year (95% interval: {low} to {high}%)."
)
_UNCLEAR = _(
    "In the whole program, with its regions weighted, there is no clear change in the share of "
    "occupied {sites}: {change}% per year (95% interval: {low} to {high}%)."
)


def whole_sentence(result: SpeciesResult, site: str) -> str:
    """What is told of the whole program, or why nothing is; blank where its regions have no
    weights."""
    if result.whole is None:
        return ""
    change = result.whole.change
    sites = sites_in_words(site)
    if not supports_a_sentence(change):
        why = next((words for flag, words in _WHY_NOT.items() if flag in change.flags), None)
        return said(
            "Nothing is reported for the whole program, because {why}.",
            why=said(why, fewest=FEWEST_ROUTES_OF_A_REGION) if why else reason(change, site),
        )
    text = _UNCLEAR
    if has_direction(change):
        text = _FELL if (change.value or 0.0) < 0 else _ROSE
    return said(text, sites=sites, **change_numbers(change))


def whole_shares(result: SpeciesResult) -> dict[int, str]:
    """Season year to the share of the whole program with its interval; empty without weights."""
    shares = result.whole.shares if result.whole else ()
    return {year: share_with_interval(share) for year, share in shares}


def no_weights() -> str:
    return gettext(
        "This is the trend of the surveyed routes. Nothing is reported for the whole program, "
        "because its regions have no weights."
    )
