"""From stored fits to the rows, facts and pictures of the pages of Trends."""

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any

from django.utils.safestring import mark_safe

from surveys.charts.borrowed import borrowed_of, lenders_of
from surveys.charts.shares import Series, SpeciesChart, point, species_chart, year_point
from surveys.charts.small import small_svg
from surveys.charts.words import (
    MARKS,
    NOT_TOLD,
    change_with_interval,
    days_words,
    direction,
    flags_in_words,
    is_told_by_another,
    share,
    share_with_interval,
    supports_a_sentence,
    told_change,
    trend_line,
    unknown,
)
from surveys.fitting.stored import StoredFit
from surveys.language import gettext, said
from surveys.trends import Estimate, wilson
from surveys.trends.estimates import DETECTION_BORROWED, OPEN_SEASON
from surveys.trends.species_result import SpeciesResult, SpeciesYear


def fit_series(fit: StoredFit, name: str) -> Series:
    """Corrected shares; the naive ones where none can be corrected. Their name says so, or that
    detection is borrowed."""
    years = fit.result.years
    corrected = [year_point(year, year.occupancy) for year in years]
    if any(share.value is not None for share in corrected):
        if lenders_of(fit.result):
            name = said("{name} (detection borrowed)", name=name)
        return Series(name=name, points=tuple(corrected))
    return Series(
        name=said("{name} (not corrected)", name=name),
        points=tuple(year_point(year, year.naive) for year in years),
    )


def route_series(name: str, years: list[tuple[int, int, int]]) -> Series:
    """Naive shares of a route, from (season year, stops heard, stops listened to)."""
    return Series(
        name=name,
        points=tuple(
            point(year, wilson(heard, listened, name=str(year))) for year, heard, listened in years
        ),
    )


def trend_facts(result: SpeciesResult) -> list[tuple[str, str, str]]:
    """The change on each of its scales: name, change per year, and the scale in words."""
    trend = result.trend
    # A number beside "no corrected trend" would be read as the trend.
    is_shown = supports_a_sentence(trend.occupancy) or is_told_by_another(result)

    def corrected(change: Estimate | None) -> str:
        return _change_or_unknown(change) if is_shown else gettext(NOT_TOLD)

    return [
        (
            gettext("Share of sites"),
            _per_year(corrected(trend.occupancy)),
            gettext("of the share itself"),
        ),
        (
            gettext("Odds"),
            _per_year(corrected(trend.odds)),
            gettext("of occupied to empty"),
        ),
        (
            gettext("Percentage points"),
            _per_year(corrected(trend.points).replace("%", "")),
            gettext("of all sites"),
        ),
        (
            gettext("All routes together"),
            _per_year(corrected(trend.pooled)),
            gettext("without separating routes"),
        ),
        *(
            [
                (
                    gettext("Whole program"),
                    _per_year(corrected(result.whole.change)),
                    gettext("with its regions weighted"),
                )
            ]
            if result.whole
            else []
        ),
        *(
            [
                (
                    gettext("Full chorus"),
                    _per_year(told_change(result.chorus.full_chorus)),
                    gettext("of the share of stops with it"),
                ),
                (
                    gettext("Call index"),
                    _per_year(told_change(result.chorus.index_odds)),
                    gettext("of the odds of a higher index"),
                ),
            ]
            if result.chorus
            else []
        ),
        (
            gettext("Heard, not corrected"),
            _per_year(change_with_interval(trend.naive)),
            gettext("of the uncorrected share itself"),
        ),
        (
            gettext("Good and bad years"),
            _scatter(trend.scatter),
            gettext("scatter of the years around the line, in log odds"),
        ),
    ]


def _change_or_unknown(estimate: Estimate | None) -> str:
    return change_with_interval(estimate) if estimate else unknown()


def _scatter(estimate: Estimate | None) -> str:
    if estimate is None or estimate.value is None:
        return unknown()
    high = "?" if estimate.high is None else f"{estimate.high:.1f}"
    return said(
        "{estimate} ({estimate_2} to {high})",
        estimate=f"{estimate.value:.1f}",
        estimate_2=f"{estimate.low or 0:.1f}",
        high=high,
    )


def _per_year(change: str) -> str:
    if change in (unknown(), gettext(NOT_TOLD)):
        return change
    return said("{change} per year", change=change)


def turnover_facts(result: SpeciesResult) -> list[tuple[str, str, str]]:
    """The chances of turnover; none where the page says of every season that detection is not
    known, because turnover cannot be told from missing a species without it."""
    turnover = result.turnover
    detection_known = any(
        not year.borrowed_from and share_with_interval(year.detection) != unknown()
        for year in result.years
    )
    if turnover is None or not detection_known:
        return []
    return [
        (
            gettext("An empty site is colonized"),
            share_with_interval(turnover.colonization),
            flags_in_words(turnover.colonization.flags) or gettext("from one season to the next"),
        ),
        (
            gettext("An occupied site goes empty"),
            share_with_interval(turnover.extinction),
            flags_in_words(turnover.extinction.flags) or gettext("from one season to the next"),
        ),
        (
            gettext("Long-term level"),
            share_with_interval(turnover.equilibrium),
            flags_in_words(turnover.equilibrium.flags) or gettext("share of sites occupied"),
        ),
    ]


def index_rows(result: SpeciesResult) -> list[tuple[int, str, str]]:
    """Season, share with full chorus, and flags, from the model of the call index."""
    return [
        (
            year.season_year,
            share_with_interval(year.full_chorus),
            flags_in_words(year.full_chorus.flags),
        )
        for year in result.index or ()
    ]


def phenology_words(result: SpeciesResult) -> str:
    return days_words(result.phenology.shift) if result.phenology else ""


def comparison_row(series: Series, trend: Estimate | None, flags: str) -> dict[str, Any]:
    known = [point for point in series.points if point.value is not None]
    ends = [f"{share(end.value)} ({end.year})" for end in (known[0], known[-1])] if known else []
    return {
        "name": series.name,
        "first": ends[0] if ends else unknown(),
        "last": ends[1] if ends else unknown(),
        "trend": told_change(trend) if trend else "",
        "flags": flags,
    }


def glance_rows(fits: Sequence[StoredFit], address: Callable[[StoredFit], str]) -> list[dict]:
    """One row a species: its last season that is over, and its trend."""
    rows = []
    for fit in fits:
        if not fit.result.years:
            continue
        over = [year for year in fit.result.years if not year.is_open]
        last, trend = (over or fit.result.years)[-1], fit.result.trend.occupancy
        is_open = fit.result.years[-1].is_open
        of_trend = dict.fromkeys((*trend.flags, *((OPEN_SEASON,) if is_open else ())))
        remarks = [flags_in_words([flag]) for flag in of_trend]
        remarks += [
            said("{year}: {flag}", year=last.season_year, flag=_flag_of(last, flag))
            for flag in last.occupancy.flags
            if flag not in of_trend
        ]
        remarks += [] if fit.fresh else [gettext("being recalculated")]
        rows.append(
            {
                "name": fit.species.name,
                "url": address(fit),
                "year": last.season_year,
                "occupancy": share_with_interval(last.occupancy),
                "detection": share_with_interval(last.detection),
                "trend": told_change(trend),
                "flags": (*of_trend, *last.occupancy.flags),
                "remarks": gettext("; ").join(remarks),
            }
        )
    return rows


def _flag_of(year: SpeciesYear, flag: str) -> str:
    """A flag in words; that detection is borrowed with from how many species."""
    number = borrowed_of(year) if flag == DETECTION_BORROWED else ""
    return number or flags_in_words([flag])


def small_multiples(fits: Sequence[StoredFit], address: Callable[[StoredFit], str]) -> list[dict]:
    """A small picture of each species with the direction of its trend."""
    return [
        {
            "name": fit.species.name,
            "url": address(fit),
            # Only numbers and fixed words stand in it.
            "svg": mark_safe(small_svg(_small_chart(fit))),  # noqa: S308
            "mark": MARKS[direction(fit.result)],
            "direction": gettext(direction(fit.result)),
        }
        for fit in fits
    ]


def _small_chart(fit: StoredFit) -> SpeciesChart:
    """With a line only where there is a direction to tell: one that is not corrected for detection
    has none."""
    chart = species_chart(fit.result, site=fit.site, title="")
    return chart if trend_line(fit.result)[1] else replace(chart, line=())
