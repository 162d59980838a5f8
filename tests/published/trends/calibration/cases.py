"""The cases in which the trend is calibrated, each with what it has to keep.

`alarms` is the most that may be told as a change where there is none, in percent of the programs,
both sides together; `side` the most on either side; `power` the least that has to be told as a
fall; `coverage` the range in which the interval has to hold the truth; `doubled` the most that may
have more than twice the true share in the middle of the line, and `level_coverage` the range in
which the interval of that share has to hold the truth. A `correlated` case is told by the interval
that lets years be correlated.
"""

from dataclasses import dataclass, replace

from tests.published.trends.calibration.programs import FIRST_YEAR, Setting, percent_of

COVERAGE = (93.0, 97.0)


@dataclass(frozen=True, kw_only=True)
class Case:
    name: str
    setting: Setting
    alarms: float | None = None
    side: float | None = None
    power: float | None = None
    coverage: tuple[float, float] | None = None
    doubled: float | None = None
    level_coverage: tuple[float, float] | None = None
    correlated: bool = False
    # Weight and setting of each region; without, one region.
    regions: tuple[tuple[float, Setting], ...] = ()
    weighted: bool = True

    @property
    def percent(self) -> float:
        """The true change of the share of sites a year."""
        return percent_of(self.regions) if self.regions else self.setting.percent


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

# A rare species, at a quarter to a half of the chance to hear it.
RARE = {"years": 12, "share": 0.06, "detection": 0.3}
RARE_IN_CLASSES = {"years": 12, "share": 0.1, "detection": 0.6, "worse": 0.5, "worse_by": 2.1}
LEVEL_COVERAGE = (90.0, 99.0)


def level(case: Case, *, coverage: tuple[float, float] | None = LEVEL_COVERAGE) -> Case:
    """The same, with what the share of sites has to keep."""
    return replace(case, doubled=2.0, level_coverage=coverage)


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
    replace(
        change("-5 % a year, years sd 0.3, told by the line for it", -5, year_sd=0.3),
        coverage=None,
        correlated=True,
    ),
    # Equal detection and two classes of stops look alike where a species is rare, so that the share
    # of the second is too low, and has no goal for its coverage.
    level(null("rare, all stops heard alike", 5, **RARE)),
    level(null("rare, half the stops heard badly", 5, **RARE_IN_CLASSES), coverage=None),
    level(
        change("-5 % a year, rare, half the stops heard badly", -5, **RARE_IN_CLASSES),
        coverage=None,
    ),
)


def whole(name: str, *regions: tuple[float, Setting], **goals) -> Case:
    return Case(name=name, setting=regions[0][1], regions=regions, **goals)


def _shifting(one: dict, other: dict, **both) -> tuple[tuple[float, Setting], ...]:
    """Three quarters of the routes of a region end over the years, and as many begin in another
    that weighs three times as much."""
    return (
        (1.0, Setting(share=0.6, leaving=0.75, **one, **both)),
        (3.0, Setting(share=0.3, joining=0.75, **other, **both)),
    )


_APART = _shifting({"percent": 3}, {"percent": -6})
# Told of the whole program, its regions by their weights.
WHOLE_CASES = (
    whole("effort shifts, regions go apart", *_APART, coverage=COVERAGE),
    # For comparison: without weights the same programs are told wrong.
    whole("the same, not weighted", *_APART, weighted=False),
    whole("effort shifts, nothing changes", *_shifting({}, {}), alarms=5),
    whole("the same, years sd 0.3", *_shifting({}, {}, year_sd=0.3), alarms=6),
    whole(
        "effort shifts, regions go apart, years sd 0.3",
        *_shifting({"percent": 3}, {"percent": -6}, year_sd=0.3),
        coverage=COVERAGE,
    ),
    whole(
        "one of three regions with 4 routes",
        (2.0, Setting(share=0.3, percent=-4)),
        (2.0, Setting(share=0.5)),
        (1.0, Setting(share=0.5, percent=-4, routes=4)),
        coverage=COVERAGE,
    ),
    whole(
        "two regions with 4 routes", (1.0, Setting(routes=4)), (1.0, Setting(routes=4)), alarms=5
    ),
    # In many of these programs the second region is silent.
    whole(
        "a region where it is nearly never heard",
        (1.0, Setting(share=0.2, percent=-3)),
        (1.0, Setting(share=0.002, routes=6, stops=5, percent=8)),
        coverage=COVERAGE,
    ),
)
