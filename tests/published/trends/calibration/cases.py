"""The cases in which the trend is calibrated, each with what it has to keep.

`alarms` is the most that may be told as a change where there is none, in percent of the programs,
both sides together; `side` the most on either side; `power` the least that has to be told as a
fall; `coverage` the range in which the interval has to hold the truth. A `correlated` case is told
by the interval that lets years be correlated.
"""

from dataclasses import dataclass, replace

from tests.published.trends.calibration.programs import FIRST_YEAR, Setting

COVERAGE = (93.0, 97.0)


@dataclass(frozen=True, kw_only=True)
class Case:
    name: str
    setting: Setting
    alarms: float | None = None
    side: float | None = None
    power: float | None = None
    coverage: tuple[float, float] | None = None
    correlated: bool = False


def null(name: str, alarms: float, side: float | None = None, **setting) -> Case:
    return Case(name=name, setting=Setting(**setting), alarms=alarms, side=side)


def change(name: str, percent: float, power: float | None = None, **setting) -> Case:
    return Case(
        name=name, setting=Setting(percent=percent, **setting), power=power, coverage=COVERAGE
    )


FIELD = {
    "year_sd": 0.35,
    "replaced": 0.5,
    "observer_sd": 0.7,
    "first_year_observer": 0.5,
    "stop_detection_sd": 1.0,
}

CASES = (
    null("base", 5),
    null("years sd 0.3", 6, year_sd=0.3),
    null("years sd 0.5", 6, year_sd=0.5),
    null("years sd 0.5, 20 years", 6, year_sd=0.5, years=20),
    null("years sd 0.5, correlation 0.5", 10, year_sd=0.5, year_correlation=0.5),
    null("half the routes replaced at random", 5, replaced=0.5),
    null("half the routes replaced, the first ones better", 6, replaced=0.5, first_better=0.8),
    null(
        "detection falls with a declared break",
        4,
        drop=1.0,
        stop_detection_sd=1.0,
        breaks=(FIRST_YEAR + 5,),
    ),
    null("years, turnover, observers, learning, heterogeneity", 7, 6, **FIELD),
    null("the same, the first routes better", 7, 6, first_better=0.8, **FIELD),
    null("5 routes", 5, routes=5),
    null("occupancy 0.02", 5, share=0.02),
    null("3 years, years sd 0.5", 1, years=3, year_sd=0.5),
    # Our own.
    null("detection 0.05", 5, detection=0.05),
    null("40 years, years sd 0.4", 6, years=40, year_sd=0.4),
    null("gap years", 6, gaps=(3, 4, 7), year_sd=0.3),
    null("effort grows over the years", 6, uneven=0.35, year_sd=0.3),
    null("stops that differ and persist", 5, stop_sd=1.0, kept=0.98),
    null("routes very unlike", 5, route_sd=1.5),
    null("routes with slopes of their own", 6, route_slope_sd=0.1),
    null("occupancy 0.9, years sd 0.3", 6, share=0.9, year_sd=0.3),
    null("one stop a route", 5, routes=60, stops=1),
    null("60 routes, years sd 0.3", 6, routes=60, year_sd=0.3),
    null("5 years, years sd 0.3", 6, years=5, year_sd=0.3),
    change("-3 % a year", -3, 45),
    change("-5 % a year", -5, 85),
    change("-5 % a year, years sd 0.3", -5, 52, year_sd=0.3),
    change("+3 % a year", 3),
    change("+5 % a year, years sd 0.3", 5, year_sd=0.3),
    change("-3 % a year, turnover", -3, replaced=0.5, first_better=0.8),
    # The line of the sensitivity table in which good years may follow good years.
    replace(
        null("correlation 0.5, told by the line for it", 10, year_sd=0.5, year_correlation=0.5),
        correlated=True,
    ),
    replace(change("-5 % a year, told by the line for it", -5), coverage=None, correlated=True),
)
