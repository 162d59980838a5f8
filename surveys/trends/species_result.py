"""What the fits say of one species over the years.

One shape serves every reader: stored as JSON, shown on pages and pictures, written to the tables of
a publication and read back from them. What a publication's tables do not hold has a default.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, replace

from surveys.trends.change_effect import ChangeEffect
from surveys.trends.estimates import OPEN_SEASON, Estimate, merge_flags
from surveys.trends.models.goodness_of_fit import GoodnessOfFit
from surveys.trends.models.needed_effort import NeededEffort
from surveys.trends.models.phenology import CallingNights
from surveys.trends.models.trend import odds_per_year
from surveys.trends.printing import PrintedRow, PrintsAsTable, estimate_rows
from surveys.trends.water import WaterAndCalls

YearlyEstimates = tuple[tuple[int, Estimate], ...]


@dataclass(frozen=True, kw_only=True)
class Effort:
    """Accepted visits of one season year in the calling season of the species."""

    routes: int
    visits: int
    periods: int


@dataclass(frozen=True, kw_only=True)
class SpeciesYear:
    """One season year: sites and detections in the calling season, and what follows from them.

    ``sites_heard_at`` counts sites by their highest call index, 1 to 3. The first and the last
    night heard are of the whole season year. ``occupancy_by_route`` is ``occupancy`` with an
    interval that allows for the stops of a route being alike, as that of ``detection`` does.
    ``naive_by_route`` is such an interval of ``naive``, where no site was visited twice. There
    ``borrowed_from`` counts the other species whose detection stands in for its own, if any does.
    """

    season_year: int
    sites: int
    sites_heard: int
    first_night: dt.date | None
    last_night: dt.date | None
    naive: Estimate
    occupancy: Estimate
    detection: Estimate
    detection_model: str
    effort: Effort | None = None
    sites_heard_at: tuple[int, int, int] | None = None
    occupancy_by_route: Estimate | None = None
    naive_by_route: Estimate | None = None
    borrowed_from: int | None = None

    @property
    def is_open(self) -> bool:
        """Whether the windows of the season are not over."""
        return OPEN_SEASON in self.occupancy.flags

    @property
    def flags(self) -> tuple[str, ...]:
        """Flags of occupancy, then of detection, each once."""
        return merge_flags(self.occupancy.flags, self.detection.flags)


@dataclass(frozen=True, kw_only=True)
class RankedModel:
    """A model that was compared; ``delta`` is its AIC above the best, None if it did not settle."""

    name: str
    parameters: int
    aic: float | None
    delta: float | None
    flags: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class Effect:
    """The odds ratio for ``step`` more of a covariate, or for a class against ``baseline``.

    ``part`` is ``occupancy`` or ``detection``; ``baseline`` is blank for an amount.
    """

    part: str
    name: str
    baseline: str
    step: float
    odds: Estimate


@dataclass(frozen=True, kw_only=True)
class SilentKind:
    """A kind of site at which the species was never heard; ``occupancy`` bounds what was missed,
    ``by_route`` does so where the sites of a route are alike."""

    name: str
    sites: int
    occupancy: Estimate
    by_route: Estimate | None = None


@dataclass(frozen=True, kw_only=True)
class SensitivityLine:
    """The percent change of the share of sites a year under one other choice.

    ``routes`` and ``seasons`` are what it rests on. A line that does not apply had nothing to leave
    out, and holds the told change.
    """

    name: str
    change: Estimate
    routes: int
    seasons: int
    applies: bool = True


@dataclass(frozen=True, kw_only=True)
class Trend:
    """Change per year, and the models it rests on.

    ``log_odds`` is the slope of occupancy on the logit scale within routes, ``occupancy`` the
    percent change of the share of sites per year, ``points`` its change in percentage points,
    ``pooled`` the percent change that does not hold routes apart. ``scatter`` is the standard
    deviation of the years around the line on the logit scale. ``line`` is the fitted share of each
    season year, the mean over all sites. ``naive`` and ``naive_line`` are the percent
    change and the line of the share of sites heard, not corrected for detection. ``first_year`` and
    ``last_year`` are the seasons the trend rests on; ``breaks`` the season years from which on
    listening was another. ``needed`` is what it takes to see a fall of 3 % a year.
    """

    log_odds: Estimate
    occupancy: Estimate
    line: YearlyEstimates
    naive: Estimate
    naive_line: YearlyEstimates
    detection_model: str
    occupancy_model: str
    points: Estimate | None = None
    pooled: Estimate | None = None
    scatter: Estimate | None = None
    first_year: int | None = None
    last_year: int | None = None
    breaks: tuple[int, ...] = ()
    detection_models: tuple[RankedModel, ...] = ()
    occupancy_models: tuple[RankedModel, ...] = ()
    effects: tuple[Effect, ...] = ()
    silent_kinds: tuple[SilentKind, ...] = ()
    needed: NeededEffort | None = None

    @property
    def odds(self) -> Estimate:
        """Percent change of the odds of occupancy per year."""
        return odds_per_year(self.log_odds)


@dataclass(frozen=True, kw_only=True)
class WholeProgram:
    """The program as its regions weigh: the percent change of its share of sites a year, and that
    share in each season year in which all of them were surveyed."""

    change: Estimate
    shares: YearlyEstimates


@dataclass(frozen=True, kw_only=True)
class ChorusTrend:
    """The percent change a year of the share of sites with full chorus, and of the odds of a higher
    call index, which the model takes as equal for every step of the index."""

    full_chorus: Estimate
    index_odds: Estimate


@dataclass(frozen=True, kw_only=True)
class Turnover:
    """Chances from one season year to the next, and the share of sites they lead to."""

    colonization: Estimate
    extinction: Estimate
    equilibrium: Estimate


@dataclass(frozen=True, kw_only=True)
class IndexYear:
    """The call index of one season year, corrected for detection."""

    season_year: int
    expected_index: Estimate
    full_chorus: Estimate


@dataclass(frozen=True, kw_only=True)
class Phenology:
    """Calling nights of each season year in days from its first day, and their shift per decade."""

    nights: tuple[CallingNights, ...]
    shift: Estimate


@dataclass(frozen=True, kw_only=True, repr=False)
class SpeciesResult(PrintsAsTable):
    """One species over the years, for one kind of site and one region.

    ``fit_check`` is of the model of the trend; where its c-hat is above 1, the yearly intervals
    that treat sites as independent are wider by its square root. Turnover and phenology are worked
    out for all regions together only, the index for stops only. ``filled`` is the share of the
    visits to a site that lacked a covariate and took its mean. ``sensitivity`` tells the change
    again under other choices, the told one first; it is worked out for all regions together only.
    ``whole`` is None where the program gives its regions no weights. ``chorus`` is worked out for
    stops of all regions together only, ``water`` and ``changes`` for stops.
    """

    years: tuple[SpeciesYear, ...]
    trend: Trend
    fit_check: GoodnessOfFit | None = None
    turnover: Turnover | None = None
    index: tuple[IndexYear, ...] | None = None
    phenology: Phenology | None = None
    filled: tuple[tuple[str, float], ...] = ()
    sensitivity: tuple[SensitivityLine, ...] = ()
    whole: WholeProgram | None = None
    chorus: ChorusTrend | None = None
    water: WaterAndCalls | None = None
    changes: tuple[ChangeEffect, ...] = ()

    def printed_title(self) -> str:
        years = [year.season_year for year in self.years]
        span = f"{years[0]} to {years[-1]}" if years else "no season years"
        return f"trend and occupancy of each season year, {span}"

    def printed_rows(self) -> Sequence[PrintedRow]:
        change = estimate_rows((self.trend.log_odds, self.trend.occupancy))
        shares = [
            replace(year.occupancy, name=f"occupancy {year.season_year}") for year in self.years
        ]
        return [*change, *estimate_rows(shares)]
