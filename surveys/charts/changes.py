"""What changes of wetlands did to a species, in words."""

from collections.abc import Iterator
from dataclasses import dataclass

from surveys.charts.words import flags_in_words, share_with_interval
from surveys.language import gettext, said
from surveys.language import gettext_noop as _
from surveys.protocol.words import number
from surveys.trends import SpeciesResult
from surveys.trends.change_effect import ChangeEffect
from surveys.trends.estimates import TOO_FEW_DATA
from surveys.trends.wetland_changes import (
    BURNED,
    CLEARED,
    FEWEST_CHANGED,
    FEWEST_CHANGED_ROUTES,
    FEWEST_HEARD,
    FEWEST_UNCHANGED,
    FEWEST_UNCHANGED_ROUTES,
    FILLED_IN,
    FISH_CAME,
    RESTORED,
)

_KINDS = {
    BURNED: _("Burned"),
    CLEARED: _("Cleared of trees or shrubs"),
    FILLED_IN: _("Filled in or drained"),
    RESTORED: _("Restored or rebuilt"),
    FISH_CAME: _("Fish came, or were stocked"),
}
_FELL = _(
    "{kind}: the odds that the species is there fell to {odds} times what they were (95% interval: "
    "{low} to {high}), compared with stops where nothing was done."
)
_ROSE = _(
    "{kind}: the odds that the species is there rose to {odds} times what they were (95% interval: "
    "{low} to {high}), compared with stops where nothing was done."
)
_UNCLEAR = _(
    "{kind}: no clear effect. The odds that the species is there are {odds} times what they were "
    "(95% interval: {low} to {high}), compared with stops where nothing was done."
)


@dataclass(frozen=True, kw_only=True)
class ToldEffect:
    """`shares` are changed stops before and after, then unchanged ones."""

    kind: str
    sentence: str
    rests_on: str
    shares: tuple[str, str, str, str]


def told_effects(result: SpeciesResult) -> Iterator[ToldEffect]:
    """Every kind of change with what it did, or why that is not known."""
    for effect in result.changes:
        before, after, then_before, then_after = (
            f"{share_with_interval(share.heard)}" for share in effect.shares
        )
        yield ToldEffect(
            kind=gettext(_KINDS[effect.kind]),
            sentence=effect_sentence(effect),
            rests_on=_rests_on(effect),
            shares=(before, after, then_before, then_after),
        )


def effect_sentence(effect: ChangeEffect) -> str:
    """What a kind of change did, or why that is not known."""
    odds, kind = effect.odds, gettext(_KINDS[effect.kind])
    value, low, high = odds.value, odds.low, odds.high
    if value is None or low is None or high is None:
        if TOO_FEW_DATA in odds.flags:
            return said(
                "{kind}: the effect is unknown. It takes {changed} changed stops on "
                "{changed_routes} routes with visits before and after, {unchanged} unchanged stops "
                "on {unchanged_routes} routes, and the species heard at {heard} stops in a season.",
                kind=kind,
                changed=FEWEST_CHANGED,
                changed_routes=FEWEST_CHANGED_ROUTES,
                unchanged=FEWEST_UNCHANGED,
                unchanged_routes=FEWEST_UNCHANGED_ROUTES,
                heard=FEWEST_HEARD,
            )
        return said(
            "{kind}: the effect is unknown ({flags}).", kind=kind, flags=flags_in_words(odds.flags)
        )
    text = _FELL if high < 1 else _ROSE if low > 1 else _UNCLEAR
    return said(text, kind=kind, odds=_times(value), low=_times(low), high=_times(high))


def _rests_on(effect: ChangeEffect) -> str:
    return said(
        "Changed stops: {stops} on {routes} routes. Unchanged: {unchanged} on {unchanged_routes} "
        "routes.",
        stops=effect.stops,
        routes=effect.routes,
        unchanged=effect.unchanged,
        unchanged_routes=effect.unchanged_routes,
    )


def _times(value: float) -> str:
    return number(f"{value:.2g}" if value < 100 else f"{value:.0f}")
