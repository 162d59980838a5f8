"""What occupancy and detection depend on, and whether the model fits, in plain words."""

from dataclasses import dataclass
from math import log
from typing import Any

from django.utils.translation import gettext_lazy

from surveys.charts.model_words import model_in_words
from surveys.charts.words import flags_in_words, share, sites_in_words
from surveys.language import gettext, said
from surveys.models.route import Habitat
from surveys.protocol.values import TemperatureUnit
from surveys.protocol.words import number
from surveys.trends import Estimate, GoodnessOfFit
from surveys.trends.estimates import POOR_FIT
from surveys.trends.species_result import Effect, RankedModel, SilentKind, SpeciesResult

TIMES = "\N{MULTIPLICATION SIGN}\N{NO-BREAK SPACE}"
# An interval wider than this says nothing.
_WIDEST_RATIO = 1000
_OTHER = gettext_lazy("other habitats together")
_KINDS = {
    **{f"habitat: {code}": label[0].lower() + label[1:] for code, label in Habitat.choices},
    "habitat: other": _OTHER,
    "habitat: unknown": gettext_lazy("habitat not known"),
    "fish: yes": gettext_lazy("water with fish"),
    "fish: no": gettext_lazy("water without fish"),
    "fish: unknown": gettext_lazy("fish not known"),
}
_STEPS = {
    "hydroperiod": gettext_lazy(
        "each step longer that water is held (weeks, a season, most years, always)"
    ),
    "temperature": gettext_lazy("each °C warmer"),
    "rain": gettext_lazy("each 10 mm of rain in the 48 hours before"),
    "water": gettext_lazy("each step higher water level (dry, pools, full)"),
    "minutes after sunset": gettext_lazy("each hour later after sunset"),
    "wind": gettext_lazy("each Beaufort force more wind"),
    "noise": gettext_lazy("each step more noise"),
}
# The same steps in a program of degrees Fahrenheit and inches.
_STEPS_IN_FAHRENHEIT = {
    "temperature": gettext_lazy("each 1.8 °F warmer"),
    "rain": gettext_lazy("each 0.4 in of rain in the 48 hours before"),
}
_COVARIATES = {
    "temperature": gettext_lazy("temperature"),
    "rain": gettext_lazy("rain"),
    "water": gettext_lazy("water level"),
    "minutes after sunset": gettext_lazy("minutes after sunset"),
    "wind": gettext_lazy("wind"),
    "noise": gettext_lazy("noise"),
}

# What the odds of each part are, above its table.
CAPTIONS = {
    "occupancy": gettext_lazy(
        "Odds that a site is occupied, the same in every year. Above 1: more often. Below 1: less"
        " often."
    ),
    "detection": gettext_lazy(
        "Odds of hearing it on a visit where it is present, at the same time of the season. Above"
        " 1: easier. Below 1: harder."
    ),
}


@dataclass(frozen=True, kw_only=True)
class EffectLine:
    """`what` against `against` (blank for an amount); `says` puts the odds into words."""

    what: str
    against: str
    odds: str
    says: str


def effect_lines(
    result: SpeciesResult, part: str, unit: TemperatureUnit = TemperatureUnit.CELSIUS
) -> list[EffectLine]:
    """Effects on `occupancy` or `detection`, those that are clear first."""
    lines = [
        EffectLine(
            what=_what(effect, unit),
            against=_kind(effect.name, effect.baseline) if effect.baseline else "",
            odds=odds_words(effect.odds),
            says=_effect_words(effect.odds, part),
        )
        for effect in result.trend.effects
        if effect.part == part
    ]
    return sorted(lines, key=lambda line: line.says == _UNCLEAR)


_UNCLEAR = gettext_lazy("uncertain: could go either way")


def _effect_words(odds: Estimate, part: str) -> str:
    if not _is_usable(odds):
        return _UNCLEAR
    more, less = (
        (gettext("more often occupied"), gettext("less often occupied"))
        if part == "occupancy"
        else (gettext("easier to hear"), gettext("harder to hear"))
    )
    if (odds.low or 0) > 1:
        return more
    return less if (odds.high or 0) < 1 else _UNCLEAR


def odds_words(odds: Estimate) -> str:
    """`× 0.4 (95%: 0.2 to 0.8)`, or that it cannot be said."""
    if not _is_usable(odds):
        return gettext("not enough data")
    value, low, high = (_factor(factor or 0.0) for factor in (odds.value, odds.low, odds.high))
    return said(
        "{times}{value} (95%: {low} to {high})",
        times=TIMES,
        value=value,
        low=low,
        high=high,
    )


def silent_words(kind: SilentKind, site: str) -> str:
    high, by_route = kind.occupancy.high, kind.by_route and kind.by_route.high
    sentences = [
        said(
            "{capital}: never heard at {sites} {site}.",
            capital=_capital(_kind(kind.name)),
            sites=kind.sites,
            site=sites_in_words(site),
        )
    ]
    if high is not None and high < 1:
        sentences.append(
            said("It may have been missed at {share} of them at most (95%).", share=share(high))
        )
        if by_route is not None and by_route > high:
            sentences.append(
                said("Up to {share} if the sites of a route are alike.", share=share(by_route))
            )
    return " ".join(sentences)


def model_tables(result: SpeciesResult) -> list[dict[str, Any]]:
    """The models that were tried: `part`, `head`, `caption` and `models` of each table, those with
    any."""
    trend = result.trend
    tables = [
        {
            "part": "detection",
            "head": gettext("Detection depends on"),
            "caption": gettext(
                "What the chance of detection was allowed to depend on. The model with the lowest"
                " AIC is used. Its penalty is twice the parameters, or what they are worth where"
                " the visits to a route are alike, whichever is larger."
            ),
            "models": list(map(_model_row, trend.detection_models)),
        },
        {
            "part": "occupancy",
            "head": gettext("Occupancy depends on"),
            "caption": gettext(
                "What occupancy was allowed to depend on, by the same rule. Models at the edge of"
                " the range are not used."
            ),
            "models": list(map(_model_row, trend.occupancy_models)),
        },
    ]
    return [table for table in tables if table["models"]]


def _model_row(model: RankedModel) -> dict[str, Any]:
    return {
        **vars(model),
        "name": model_in_words(model.name),
        "flags": flags_in_words(model.flags),
    }


def covariate_in_words(name: str) -> str:
    return str(_COVARIATES.get(name, name))


def effect_sentence(result: SpeciesResult) -> str:
    """The clearest difference between sites, in one sentence; blank where none is clear.

    By the log of the odds, so that × 0.1 is clearer than × 2.2."""
    clear = [
        effect
        for effect in result.trend.effects
        if effect.part == "occupancy" and _effect_words(effect.odds, "occupancy") != _UNCLEAR
    ]
    if not clear:
        return ""
    clearest = max(clear, key=lambda effect: abs(log(effect.odds.value or 1.0)))
    words = {"capital": _capital(_what(clearest)), "odds": odds_words(clearest.odds)}
    if not clearest.baseline:
        return said("{capital}: the odds that a site is occupied are {odds}.", **words)
    return said(
        "{capital}, compared with {other}: the odds that a site is occupied are {odds}.",
        other=_kind(clearest.name, clearest.baseline),
        **words,
    )


def fit_words(check: GoodnessOfFit | None) -> str:
    """Whether the model fits, in two or three sentences."""
    if check is None:
        return ""
    if check.p.value is None or check.c_hat.value is None:
        return gettext("Whether the model fits cannot be checked: there is no model to check.")
    sentences = [
        gettext(
            "The model does not fit well: something not in the model makes sites or visits differ."
        )
        if POOR_FIT in check.p.flags
        else gettext("There is no sign that the model does not fit."),
        said(
            "Of surveys simulated from the model, {share} differ from it as much as the data do "
            "(c-hat {c_hat}).",
            share=share(check.p.value),
            c_hat=number(f"{check.c_hat.value:.1f}"),
        ),
    ]
    if check.c_hat.value > 1:
        sentences.append(
            said(
                "The intervals of single seasons are {times} times as wide because of it. The "
                "interval of the trend comes from how routes really differ, so it stays as it is.",
                times=number(f"{check.c_hat.value**0.5:.1f}"),
            )
        )
    return " ".join(sentences)


def fits_poorly(check: GoodnessOfFit | None) -> bool:
    return check is not None and POOR_FIT in check.p.flags


def _is_usable(odds: Estimate) -> bool:
    value, low, high = odds.value, odds.low, odds.high
    return bool(value and low and high and high / low < _WIDEST_RATIO)


def _factor(value: float) -> str:
    if value < 0.01:
        return gettext("less than 0.01")
    return f"{value:.0f}" if value >= 9.95 else f"{value:.1f}" if value >= 0.95 else f"{value:.2f}"


def _what(effect: Effect, unit: TemperatureUnit = TemperatureUnit.CELSIUS) -> str:
    if unit is TemperatureUnit.FAHRENHEIT and effect.name in _STEPS_IN_FAHRENHEIT:
        return str(_STEPS_IN_FAHRENHEIT[effect.name])
    return _STEPS.get(effect.name) or _kind(effect.name)


def _kind(name: str, other: str = "") -> str:
    """The class in words; with `other`, that class of the same covariate."""
    if other:
        name = f"{name.split(': ')[0]}: {other}"
    return _KINDS.get(name, name)


def _capital(text: str) -> str:
    return text[0].upper() + text[1:]
