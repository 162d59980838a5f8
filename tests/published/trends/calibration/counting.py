"""Count how often the trend is told right, through the choice of models as for real data."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

import surveys.trends
from surveys.fitting.checksums import software_checksum
from surveys.trends.estimates import Estimate
from surveys.trends.histories import Histories
from surveys.trends.model_selection import choose_trend
from surveys.trends.models.strata import Stratum
from surveys.trends.models.year_correlation import slope_with_correlated_years
from surveys.trends.models.year_trend import (
    YearTrend,
    summarize_year_trend,
    year_trend_line,
)
from surveys.trends.numerics.intervals import wilson
from surveys.trends.silent_regions import SurveyedRegion
from surveys.trends.told_trend import chosen_year_trend
from surveys.trends.whole_program import regions_of, whole_program
from tests.published.trends.calibration.cases import CASES, WHOLE_CASES, Case
from tests.published.trends.calibration.programs import Histories as Drawn
from tests.published.trends.calibration.programs import middle_share, simulate

SEED = 20261129
# Apart from the numbers of the cases above.
WHOLE = 1000
_SUMS = ("programs", "fell", "rose", "not_told", "held", "doubled", "level_held")


@dataclass(frozen=True, kw_only=True)
class Count:
    """Programs of one case by what was told: `fell`, `rose`, `not told`; those in which the
    interval of the change a year `held` the truth; those with more than `doubled` the true share in
    the middle of the line, and those in which the interval of this share holds it."""

    case: Case
    programs: int
    fell: int
    rose: int
    not_told: int
    held: int
    doubled: int
    level_held: int

    @property
    def alarms(self) -> float:
        """Percent of the programs told as changing."""
        return 100 * (self.fell + self.rose) / self.programs

    @property
    def coverage(self) -> float:
        """Percent of the intervals told that hold the truth."""
        return self._percent_of_told(self.held)

    @property
    def too_high(self) -> float:
        """Percent of the programs told with more than twice the true share of sites."""
        return self._percent_of_told(self.doubled)

    @property
    def level_coverage(self) -> float:
        """Percent of the intervals of the share of sites that hold it."""
        return self._percent_of_told(self.level_held)

    def _percent_of_told(self, count: int) -> float:
        return 100 * count / max(self.programs - self.not_told, 1)

    @property
    def misses(self) -> list[str]:
        """The goals of the case that were not met, in words."""
        case, fell = self.case, 100 * self.fell / self.programs
        side = max(fell, 100 * self.rose / self.programs)
        goals = [
            (case.alarms is None or self.alarms <= case.alarms, "false alarms"),
            (case.side is None or side <= case.side, "one side"),
            (case.power is None or fell >= case.power, "power"),
            (_within(self.coverage, case.coverage), "coverage"),
            (case.doubled is None or self.too_high <= case.doubled, "share doubled"),
            (_within(self.level_coverage, case.level_coverage), "coverage of the share"),
        ]
        return [name for met, name in goals if not met]


def _within(value: float, goal: tuple[float, float] | None) -> bool:
    return goal is None or goal[0] <= value <= goal[1]


def count_case(case: Case, programs: int, *, first: int = 0) -> Count:
    """Simulate and analyze programs number `first` and on of a case."""
    told: Counter[str] = Counter()
    for number in range(first, first + programs):
        told.update(_outcomes(case, number))
    return _count(case, programs, told)


def _count(case: Case, programs: int, told: Mapping[str, int]) -> Count:
    return Count(
        case=case,
        programs=programs,
        fell=told["fell"],
        rose=told["rose"],
        not_told=told["not told"],
        held=told["held"],
        doubled=told["doubled"],
        level_held=told["level held"],
    )


def _outcomes(case: Case, number: int) -> Iterable[str]:
    if case.regions:
        return _of_change(case, _whole_change(case, number))
    trend = _trend(case, number)
    told = _of_change(case, summarize_year_trend(trend).occupancy)
    if case.doubled is None or told == ["not told"]:
        return told
    line = year_trend_line(trend)
    return [*told, *_of_share(line[len(line) // 2][1], middle_share(case.setting))]


def _of_change(case: Case, change: Estimate) -> list[str]:
    if change.low is None or change.high is None:
        return ["not told"]
    return [
        name
        for name, holds in (
            ("fell", change.high < 0),
            ("rose", change.low > 0),
            ("held", change.low <= case.percent <= change.high),
        )
        if holds
    ]


def _of_share(share: Estimate, truth: float) -> list[str]:
    if share.value is None or share.low is None or share.high is None:
        raise ValueError("a line without shares")
    return [
        name
        for name, holds in (
            ("doubled", share.value > 2 * truth),
            ("level held", share.low <= truth <= share.high),
        )
        if holds
    ]


def _trend(case: Case, number: int) -> YearTrend:
    drawn = simulate(case.setting, np.random.default_rng([SEED, CASES.index(case), number]))
    histories = _histories(drawn)
    choice = choose_trend(histories, {}, {})
    trend = chosen_year_trend(histories, {}, choice, breaks=case.setting.breaks)
    if case.correlated and trend.line is not None:
        trend = replace(trend, line=slope_with_correlated_years(trend.levels))
    return trend


def _whole_change(case: Case, number: int) -> Estimate:
    """Of the whole program by its regions, or of all routes together where not ``weighted``."""
    # Cases of the same regions see the same programs.
    first = next(at for at, one in enumerate(WHOLE_CASES) if one.regions == case.regions)
    rng = np.random.default_rng([SEED, WHOLE, first, number])
    drawn = [simulate(setting, rng) for _, setting in case.regions]
    if not case.weighted:
        together = _histories(_together(drawn))
        trend = chosen_year_trend(together, {}, choose_trend(together, {}, {}))
        return summarize_year_trend(trend).occupancy
    surveyed = []
    for (weight, _), region in zip(case.regions, drawn, strict=True):
        histories = _histories(region)
        choice = choose_trend(histories, {}, {})
        levels = chosen_year_trend(histories, {}, choice).levels
        surveyed.append(
            SurveyedRegion(
                stratum=Stratum(weight=weight, levels=levels),
                histories=histories,
                fit=choice.trend.fit,
            )
        )
    return whole_program(regions_of(surveyed)).change


def _together(regions: list[Drawn]) -> Drawn:
    """The regions as one, their routes apart."""
    route = [one.route + 1000 * number for number, one in enumerate(regions)]
    return Drawn(
        detections=np.concatenate([one.detections for one in regions]),
        season_year=np.concatenate([one.season_year for one in regions]),
        route=np.concatenate(route),
    )


def _histories(drawn: Drawn) -> Histories:
    unknown = np.full(drawn.detections.shape, np.nan)
    return Histories(
        site=np.arange(len(drawn.route)),
        cluster=drawn.route,
        season_year=drawn.season_year,
        detected=drawn.detections,
        call_index=unknown,
        night=unknown,
    )


def count_all(
    cases: Iterable[Case], programs: int, *, workers: int, block: int = 50
) -> Iterable[Count]:
    """Every case, in blocks shared out among processes."""
    with ProcessPoolExecutor(workers) as pool:
        jobs = {
            case: [
                pool.submit(count_case, case, min(block, programs - first), first=first)
                for first in range(0, programs, block)
            ]
            for case in cases
        }
        for case, parts in jobs.items():
            counts = [part.result() for part in parts]
            yield Count(
                case=case, **{name: sum(getattr(c, name) for c in counts) for name in _SUMS}
            )


def table(counts: Iterable[Count]) -> str:
    """The counts as a table in Markdown, with what each case had to keep."""
    head = (
        "| case | programs | fell % | rose % | both % (95 %) | not told % | coverage % "
        "| share doubled % | coverage of the share % | goal | missed | estimator |\n"
        "|---|---:|---:|---:|---|---:|---:|---:|---:|---|---|---|"
    )
    lines, stamp = [head], estimator()
    for count in counts:
        n = count.programs
        error = wilson(count.fell + count.rose, n)
        lines.append(
            f"| {count.case.name} | {n} | {100 * count.fell / n:.1f} | {100 * count.rose / n:.1f} "
            f"| {count.alarms:.1f} ({100 * (error.low or 0):.1f} to {100 * (error.high or 0):.1f}) "
            f"| {100 * count.not_told / n:.1f} | {count.coverage:.1f} | {_of_level(count)} "
            f"| {_goal(count.case)} | {', '.join(count.misses)} "
            f"| {stamp} |"
        )
    return "\n".join(lines) + "\n"


def estimator() -> str:
    """A checksum of the code of the trends; comments, docstrings and layout do not count."""
    folder = Path(surveys.trends.__file__).parent
    sources = {str(path.relative_to(folder)): path.read_text() for path in folder.rglob("*.py")}
    return software_checksum(sources, {})[:8]


def merged(before: str, again: str, names: Sequence[str]) -> str:
    """A table whose rows are those counted again, and the others as they stood before."""
    head, rows = again.splitlines()[:2], {}
    for text in (before, again):
        for line in text.splitlines():
            name = line.removeprefix("| ").partition(" |")[0]
            if line.startswith("| ") and name in names:
                rows[name] = line
    return "\n".join([*head, *(rows[name] for name in names if name in rows)]) + "\n"


def _of_level(count: Count) -> str:
    if count.case.doubled is None:
        return "|"
    return f"{count.too_high:.1f} | {count.level_coverage:.1f}"


def _goal(case: Case) -> str:
    goals = [
        f"both ≤ {case.alarms:g}" if case.alarms is not None else "",
        f"each side ≤ {case.side:g}" if case.side is not None else "",
        f"fell ≥ {case.power:g}" if case.power is not None else "",
        f"coverage {case.coverage[0]:g} to {case.coverage[1]:g}" if case.coverage else "",
        f"share doubled ≤ {case.doubled:g}" if case.doubled is not None else "",
        "coverage of the share {:g} to {:g}".format(*case.level_coverage)
        if case.level_coverage
        else "",
    ]
    return ", ".join(goal for goal in goals if goal)
