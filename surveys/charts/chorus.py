"""The trend of the call index in words."""

from surveys.charts.words import (
    change_numbers,
    flags_in_words,
    has_direction,
    reason,
    supports_a_sentence,
)
from surveys.language import gettext, said
from surveys.language import gettext_noop as _
from surveys.trends import SpeciesResult
from surveys.trends.estimates import INDEX_NEVER_HEARD, STEPS_DIFFER, TOO_FEW_DATA

_FELL = _(
    "Full chorus: the share of stops with it fell by {change}% per year (95% interval: {low} to "
    "{high}%)."
)
_ROSE = _(
    "Full chorus: the share of stops with it rose by {change}% per year (95% interval: {low} to "
    "{high}%)."
)
_UNCLEAR = _(
    "Full chorus: there is no clear change in the share of stops with it: {change}% per year (95% "
    "interval: {low} to {high}%)."
)


def chorus_sentence(result: SpeciesResult) -> str:
    """The trend of full chorus, or why none is told; blank where it is not worked out."""
    if result.chorus is None:
        return ""
    change = result.chorus.full_chorus
    if not supports_a_sentence(change):
        return said(
            "Full chorus: no trend is reported, because {why}.", why=_why(change.flags, result)
        )
    text = _UNCLEAR
    if has_direction(change):
        text = _FELL if (change.value or 0.0) < 0 else _ROSE
    sentence = said(text, **change_numbers(change))
    if not change.flags:
        return sentence
    return f"{sentence} {said('Its limits: {flags}.', flags=flags_in_words(change.flags))}"


def _why(flags: tuple[str, ...], result: SpeciesResult) -> str:
    if INDEX_NEVER_HEARD in flags:
        return gettext("it was never heard")
    if STEPS_DIFFER in flags:
        return gettext("it changes differently from the call index as a whole")
    if TOO_FEW_DATA in flags:
        return gettext("it was heard too rarely, or in too few seasons")
    return reason(result.chorus.full_chorus, "stop") if result.chorus else ""
