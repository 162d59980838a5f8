"""How many more seasons or routes a trend needs, in words."""

from surveys.charts.words import share, supports_a_sentence
from surveys.language import gettext, said, said_of
from surveys.protocol.words import number
from surveys.trends import SpeciesResult
from surveys.trends.models.needed_effort import MOST_YEARS, NeededEffort

# A chance that would be written as 100 %.
_NEARLY_SURE = 0.995


def needed_sentence(result: SpeciesResult) -> str:
    """What it takes to see a fall; blank where no trend is told."""
    needed = result.trend.needed
    if needed is None or not supports_a_sentence(result.trend.occupancy):
        return ""
    today = said(
        "With this many seasons and routes, the chance to notice a decline of {percent}% per year "
        "is {chance}.",
        percent=number(f"{abs(needed.percent):g}"),
        chance=_chance(needed.chance),
    )
    if needed.years == 0:
        return today
    return said(
        "{today} To reach {aim}, it takes {years}. {routes}",
        today=today,
        aim=share(needed.aim),
        years=_years(needed),
        routes=_routes(needed),
    )


def _chance(chance: float) -> str:
    return gettext("more than 99%") if chance > _NEARLY_SURE else share(chance)


def _years(needed: NeededEffort) -> str:
    if needed.years is None:
        return said("more than {most} more seasons with these routes", most=MOST_YEARS)
    seasons = said_of(
        "about {number} more season with these routes",
        "about {number} more seasons with these routes",
        needed.years,
    )
    low, high = needed.years_low, needed.years_high
    if low == high:
        return seasons
    ends = {"seasons": seasons, "low": low}
    if high is None:
        return said("{seasons} ({low} or more, because the scatter of years is uncertain)", **ends)
    return said(
        "{seasons} ({low} to {high}, because the scatter of years is uncertain)", **ends, high=high
    )


def _routes(needed: NeededEffort) -> str:
    if needed.routes is None:
        return gettext(
            "More routes alone would not be enough: good and bad years move all of them together."
        )
    return said_of(
        "Or it would have taken about {number} more route in all of these seasons.",
        "Or it would have taken about {number} more routes in all of these seasons.",
        needed.routes,
    )
