"""Effects and fit in words: a direction only where the interval leaves out 1."""

from dataclasses import replace
from types import SimpleNamespace

import pytest

from surveys.protocol.values import TemperatureUnit
from surveys.trends import (
    Estimate,
    GoodnessOfFit,
)
from surveys.trends.estimates import POOR_FIT
from surveys.trends.species_result import (
    Effect,
    SilentKind,
    Turnover,
)
from surveys.web.trends.effects import (
    effect_lines,
    effect_sentence,
    fit_words,
    fits_poorly,
    odds_words,
    silent_words,
)
from surveys.web.trends.page import turnover_facts


def estimate(value, low=None, high=None, *flags):
    return Estimate(name="", value=value, low=low, high=high, interval="", method="", flags=flags)


def plain(text):
    return text.replace("\N{NO-BREAK SPACE}", " ").replace("\N{MULTIPLICATION SIGN}", "x")


def effect(name, odds, *, part="occupancy", baseline=""):
    return Effect(part=part, name=name, baseline=baseline, step=1.0, odds=odds)


def result(*effects):
    return SimpleNamespace(trend=SimpleNamespace(effects=effects))


FISH = effect("fish: yes", estimate(0.4, 0.2, 0.8), baseline="no")
WARM = effect("temperature", estimate(1.1, 1.0001, 1.2), part="detection")
UNCLEAR = effect("habitat: marsh", estimate(1.6, 0.7, 4.0), baseline="wooded")


@pytest.mark.parametrize(
    ("odds", "text"),
    [
        (estimate(0.4, 0.2, 0.8), "x 0.40 (95%: 0.20 to 0.80)"),
        (estimate(1.96, 0.95, 12.4), "x 2.0 (95%: 0.9 to 12)"),
        (estimate(0.02, 0.001, 0.3), "x 0.02 (95%: less than 0.01 to 0.30)"),
        (estimate(20.0, 0.5, 900.0), "not enough data"),
        (estimate(None), "not enough data"),
    ],
)
def test_odds(odds, text):
    assert plain(odds_words(odds)) == text


def test_lines_tell_what_against_what():
    (fish, marsh) = effect_lines(result(UNCLEAR, FISH, WARM), "occupancy")
    assert (fish.what, fish.against) == ("water with fish", "water without fish")
    assert fish.says == "less often occupied"
    assert marsh.what == "marsh with tall reeds"
    assert "uncertain" in marsh.says
    (warm,) = effect_lines(result(UNCLEAR, FISH, WARM), "detection")
    assert (warm.what, warm.against, warm.says) == ("each °C warmer", "", "easier to hear")


def test_steps_are_in_the_units_of_the_program():
    """1 °C is 1.8 °F and 10 mm are 0.39 in (NIST SP 811, Appendix B.8)."""
    rainy = effect("rain", estimate(0.8, 0.7, 0.9), part="detection")
    lines = effect_lines(result(WARM, rainy), "detection", TemperatureUnit.FAHRENHEIT)
    assert [line.what for line in lines] == [
        "each 1.8 °F warmer", "each 0.4 in of rain in the 48 hours before",
    ]  # fmt: skip


def test_sentence_of_the_clearest():
    assert plain(effect_sentence(result(UNCLEAR, FISH))) == (
        "Water with fish, compared with water without fish: the odds that a site is occupied are "
        "x 0.40 (95%: 0.20 to 0.80)."
    )
    assert effect_sentence(result(UNCLEAR, WARM)) == ""


def test_the_clearest_effect_is_the_farthest_from_even_odds_on_the_log_scale():
    tenth = effect("fish: yes", estimate(0.1, 0.05, 0.2), baseline="no")
    double = effect("hydroperiod", estimate(2.2, 1.5, 3.2))
    for effects in ((tenth, double), (double, tenth)):
        assert plain(effect_sentence(result(*effects))).startswith("Water with fish")
    assert not effect_sentence(result(double, FISH)).startswith("Each step")


@pytest.mark.parametrize(
    ("detections", "told"),
    [
        ([estimate(None), estimate(None)], False),
        ([], False),
        ([estimate(None), estimate(0.5, 0.3, 0.7)], True),
    ],
)
def test_turnover_is_told_only_where_detection_is(detections, told):
    chance = estimate(0.1, 0.05, 0.2)
    fitted = SimpleNamespace(
        turnover=Turnover(colonization=chance, extinction=chance, equilibrium=chance),
        years=[
            SimpleNamespace(detection=detection, borrowed_from=None) for detection in detections
        ],
    )
    assert bool(turnover_facts(fitted)) is told
    assert turnover_facts(SimpleNamespace(turnover=None, years=fitted.years)) == []


def test_silent_kinds():
    kind = SilentKind(name="habitat: river", sites=10, occupancy=estimate(0.0, 0.0, 0.024))
    assert plain(silent_words(kind, "stop")) == (
        "River or flood plain: never heard at 10 stops. It may have been missed at 2.4% of them at "
        "most (95%)."
    )
    unknown = replace(kind, occupancy=estimate(0.0, 0.0, 1.0))
    assert silent_words(unknown, "stop").endswith("at 10 stops.")


def check(p, c_hat, *flags):
    return GoodnessOfFit(
        statistic=9.0, p=estimate(p, None, None, *flags), c_hat=estimate(c_hat, None, None, *flags)
    )


def test_fit():
    good = plain(fit_words(check(0.35, 0.9)))
    assert good.startswith("There is no sign that the model does not fit.")
    assert "35%" in good
    assert "wide" not in good
    assert "1.2 times as wide" in fit_words(check(0.2, 1.44))
    poor = check(0.02, 2.9, POOR_FIT)
    assert fit_words(poor).startswith("The model does not fit well")
    assert (fits_poorly(poor), fits_poorly(check(0.3, 1.0)), fits_poorly(None)) == (
        True, False, False,
    )  # fmt: skip
    assert "cannot be checked" in fit_words(check(None, None))
    assert fit_words(None) == ""
