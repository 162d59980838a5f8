"""How far mistakes of the ear move occupancy and trend, with and without recordings that two people
heard again: programs with a known truth, through the models as for real data."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass

import numpy as np

from surveys.trends.histories import PeriodColumns
from surveys.trends.models.level_models import with_certain
from surveys.trends.models.year_trend import YearTrend, summarize_year_trend, year_trend_line
from surveys.trends.numerics.intervals import wilson
from surveys.trends.periods import SpeciesPeriods
from surveys.trends.told_trend import TrendData, fit_told, told_data, trend_of
from tests.published.trends.calibration.counting import estimator
from tests.published.trends.calibration.programs import Setting, middle_share, simulate

SEED = 20261202
# Of all detections, 5 % were false in McClintock et al. 2010, J. Wildl. Manage. 74:1882-1893.
FALSE_SHARE = 0.05
WITHOUT, WITH, TRIED = "without", "with", "all taken as tried"


@dataclass(frozen=True, kw_only=True)
class Listening:
    """Of the detections, ``recorded`` are heard again by people who do not know the sheet, at the
    first ``routes`` share of the routes only; they confirm ``named`` of those that are right. At
    a stop where the species calls, observers write it down falsely as often as elsewhere."""

    name: str
    setting: Setting
    recorded: float = 0.1
    routes: float = 1.0
    named: float = 0.9


LISTENINGS = (
    Listening(name="no change", setting=Setting()),
    Listening(name="3 % fewer a year", setting=Setting(percent=-3.0)),
    Listening(name="3 % more a year", setting=Setting(percent=3.0, share=0.3)),
    Listening(name="rare, no change", setting=Setting(share=0.12)),
    Listening(name="recordings of half of the routes", setting=Setting(), recorded=0.2, routes=0.5),
)
HEAD = (
    "# What mistakes of the ear do to occupancy and trend, and what recordings mend\n\n"
    "Written by `deploy/calibrate --confirmed`. In every program 5 % of the detections are false. "
    "Without: no detection is taken as false. With: recordings were heard again by two people who "
    "did not see the sheet, of one detection in ten unless the case says otherwise. All taken as "
    "tried: the same recordings, as if every detection that is not certain had been heard again in "
    "vain. 20 routes of 10 stops, 10 years, 3 visits. Bias of occupancy in the middle year, in "
    "points of percent; bias of the change a year, in points. 95 % intervals."
)


@dataclass(frozen=True, kw_only=True)
class Told:
    """Of ``programs``, those that told a number, the mean error of the share of stops and of the
    change, and how many intervals held the truth."""

    way: str
    programs: int
    told: int
    share_error: float
    share_held: int
    change_error: float
    change_held: int


def count_listening(case: Listening, programs: int, *, first: int = 0) -> dict[str, Counter[str]]:
    """Sums over programs number ``first`` and on, by way."""
    sums: dict[str, Counter[str]] = {way: Counter() for way in (WITHOUT, WITH, TRIED)}
    for number in range(first, first + programs):
        for way, trend in _trends(case, number):
            sums[way].update(_outcome(case, trend))
    return sums


def _outcome(case: Listening, trend: YearTrend) -> dict[str, float]:
    change, line = summarize_year_trend(trend).occupancy, year_trend_line(trend)
    if change.low is None or change.high is None or change.value is None:
        return {"programs": 1}
    share, truth = line[len(line) // 2][1], middle_share(case.setting)
    return {
        "programs": 1,
        "told": 1,
        "share error": share.value - truth,
        "share held": share.low <= truth <= share.high,
        "change error": change.value - case.setting.percent,
        "change held": change.low <= case.setting.percent <= change.high,
    }


def _trends(case: Listening, number: int) -> Iterator[tuple[str, YearTrend]]:
    rng = np.random.default_rng([SEED, LISTENINGS.index(case), number])
    data = _data(case, rng)
    plain = trend_of(data)
    yield WITHOUT, plain
    rows = np.ones(len(data.histories.site), dtype=bool)
    certain, checked = data.histories.certain, data.histories.checked
    for way, tried in ((WITH, checked), (TRIED, None)):
        yield way, fit_told(data, rows=rows, like=plain, form=with_certain(certain, tried))


def _data(case: Listening, rng: np.random.Generator) -> TrendData:
    drawn = simulate(case.setting, rng)
    right = np.nan_to_num(drawn.detections) > 0
    made = ~np.isnan(drawn.detections)
    silent = made & ~right
    rate = FALSE_SHARE / (1 - FALSE_SHARE) * right.sum() / silent.sum()
    heard = right | (silent & (rng.random(right.shape) < rate))
    reached = drawn.route < case.routes * case.setting.routes
    checked = heard & reached[:, None] & (rng.random(right.shape) < case.recorded)
    certain = checked & right & (rng.random(right.shape) < case.named)
    row, visit = np.nonzero(made)
    season = drawn.season_year[row]
    stop = _stops(drawn.route, drawn.season_year)
    columns = PeriodColumns(
        route=drawn.route[row],
        stop=stop[row],
        season_year=season,
        night=season * 366 + 100 + 10 * visit,
        visit_number=visit + 1,
        call_index=heard[row, visit] * 1.0,
        heard=heard[row, visit] * 1.0,
        certain=certain[row, visit],
        checked=checked[row, visit],
    )
    periods = SpeciesPeriods(
        columns=columns,
        day=100 + 10 * visit,
        in_season=np.ones(len(row), dtype=bool),
        stops={},
    )
    return told_data(periods, "stop")


def _stops(route: np.ndarray, year: np.ndarray) -> np.ndarray:
    """A number for the stop of each row: rows come by stop and year."""
    begins = np.concatenate([[True], (route[1:] != route[:-1]) | (year[1:] <= year[:-1])])
    return np.cumsum(begins)


def count_listenings(
    cases: Iterable[Listening], programs: int, *, workers: int, block: int = 25
) -> Iterator[tuple[Listening, list[Told]]]:
    """Every case, in blocks shared out among processes."""
    with ProcessPoolExecutor(workers) as pool:
        jobs = {
            case: [
                pool.submit(count_listening, case, min(block, programs - first), first=first)
                for first in range(0, programs, block)
            ]
            for case in cases
        }
        for case, parts in jobs.items():
            done = [part.result() for part in parts]
            yield case, [told_of(way, _summed(done, way)) for way in (WITHOUT, WITH, TRIED)]


def _summed(parts: Iterable[dict[str, Counter[str]]], way: str) -> Counter[str]:
    sums: Counter[str] = Counter()
    for part in parts:
        # A sum of two counters would drop what is below zero.
        sums.update(part[way])
    return sums


def told_of(way: str, sums: Counter[str]) -> Told:
    told = max(int(sums["told"]), 1)
    return Told(
        way=way,
        programs=int(sums["programs"]),
        told=int(sums["told"]),
        share_error=sums["share error"] / told,
        share_held=int(sums["share held"]),
        change_error=sums["change error"] / told,
        change_held=int(sums["change held"]),
    )


def document(programs: int, *, workers: int) -> str:
    """Every case counted, in Markdown."""
    counts = count_listenings(LISTENINGS, programs, workers=workers)
    return f"{HEAD} Code of `surveys/trends`: {estimator()}.\n\n{listening_table(counts)}"


def listening_table(counts: Iterable[tuple[Listening, list[Told]]]) -> str:
    head = (
        "| case | way | programs | not told % | bias of occupancy | coverage % (95 %) "
        "| bias of change | coverage % (95 %) |\n|---|---|---:|---:|---:|---|---:|---|"
    )
    lines = [head]
    for case, ways in counts:
        for told in ways:
            missing = 100 * (1 - told.told / told.programs)
            lines.append(
                f"| {case.name} | {told.way} | {told.programs} | {missing:.1f} "
                f"| {100 * told.share_error:+.2f} | {_percent(told.share_held, told.told)} "
                f"| {told.change_error:+.2f} | {_percent(told.change_held, told.told)} |"
            )
    return "\n".join(lines) + "\n"


def _percent(held: int, told: int) -> str:
    share = wilson(held, max(told, 1))
    return f"{100 * share.value:.1f} ({100 * share.low:.1f} to {100 * share.high:.1f})"
