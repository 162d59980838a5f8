"""How calling goes with the water, in words."""

from collections.abc import Iterator

from surveys.charts.words import share_with_interval
from surveys.language import gettext, said, said_of
from surveys.language import gettext_noop as _
from surveys.protocol.words import number
from surveys.trends import SpeciesResult
from surveys.trends.water import EVERY_LOOK, FEWEST_LAGS, FEWEST_ROUTES, NO_LOOK, SOME_LOOKS

_CLASSES = {
    EVERY_LOOK: _("Water at every visit"),
    SOME_LOOKS: _("Water at some visits, dry at others"),
    NO_LOOK: _("Dry at every visit"),
}


def lag_sentence(result: SpeciesResult) -> str:
    """The days from the first filling to the first chorus, or why they cannot be said; blank where
    they are not worked out."""
    water = result.water
    if water is None:
        return ""
    lag, rests = water.lag, _rests_on(water.lags, water.routes)
    if lag.low is None:
        return said(
            "From filling to chorus: unknown. It takes {stops} stops in a season, on "
            "{routes} routes, where water and a chorus were seen; there are {rests}.",
            stops=FEWEST_LAGS,
            routes=FEWEST_ROUTES,
            rests=rests,
        )
    days = {"low": _days(lag.low), "rests": rests}
    if lag.high is None and _days(lag.low) == "0":
        return said(
            "From filling to chorus: unknown. Most stops had water at the first visit already.",
        )
    if lag.high is None:
        return said_of(
            "From filling to chorus: at least {low} day (95% bound, median of {rests}). Most "
            "stops had water at the first visit already, so there is no upper bound.",
            "From filling to chorus: at least {low} days (95% bound, median of {rests}). Most "
            "stops had water at the first visit already, so there is no upper bound.",
            _counted(lag.low),
            **days,
        )
    return said_of(
        "From filling to chorus: {value} day (95% interval: {low} to {high} days, median of "
        "{rests}). Filling and chorus each lie between two visits, and the interval allows for "
        "that.",
        "From filling to chorus: {value} days (95% interval: {low} to {high} days, median of "
        "{rests}). Filling and chorus each lie between two visits, and the interval allows for "
        "that.",
        _counted(lag.value or 0.0),
        value=_days(lag.value or 0.0),
        high=_days(lag.high),
        **days,
    )


def _rests_on(lags: int, routes: int) -> str:
    return said(
        "{stops} on {routes}",
        stops=said_of("{number} stop in a season", "{number} stops in a season", lags),
        routes=said_of("{number} route", "{number} routes", routes),
    )


def _counted(value: float) -> int:
    """The number whose plural a text takes: one day, but 0.5 and 1.5 days."""
    shown = round(value, 1)
    return int(shown) if shown.is_integer() else max(2, int(shown))


def _days(value: float) -> str:
    return number(f"{value:.1f}".removesuffix(".0"))


def heard_by_water(result: SpeciesResult) -> Iterator[tuple[str, int, str]]:
    """What visits saw of the water, stops in a season, and the share of them with the species."""
    for one in result.water.classes if result.water else ():
        yield gettext(_CLASSES[one.name]), one.sites, share_with_interval(one.heard)
