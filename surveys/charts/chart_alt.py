"""What the picture of a trend shows, for readers who cannot see it."""

from collections.abc import Sequence

from surveys.charts.borrowed import borrowed_words
from surveys.charts.words import (
    break_sentences,
    ends_of,
    share,
    share_with_interval,
    sites_in_words,
    trend_line,
)
from surveys.language import gettext_noop as _
from surveys.language import said
from surveys.trends import SpeciesResult, SpeciesYear


def chart_alt(name: str, result: SpeciesResult, site: str) -> str:
    """What the picture shows, for readers who cannot see it."""
    years = result.years
    if not years:
        return said("Nothing to draw for {name} yet.", name=name)
    parts = [
        said(
            "Share of {sites} with {name} in each season, {first} to {last}.",
            sites=sites_in_words(site),
            name=name,
            first=years[0].season_year,
            last=years[-1].season_year,
        )
    ]
    corrected = [year for year in years if year.occupancy.value is not None]
    if corrected:
        parts.append(_course(corrected))
    naive = [year for year in years if year.naive.value is not None]
    if naive:
        parts.append(
            said(
                "Heard, not corrected: {start} in {first}, {end} in {last}.",
                start=share(naive[0].naive.value),
                first=naive[0].season_year,
                end=share(naive[-1].naive.value),
                last=naive[-1].season_year,
            )
        )
    line, is_corrected = trend_line(result)
    if line:
        text = _("The trend line runs from {start} to {end}.")
        if not is_corrected:
            text = _("The trend line of the uncorrected share runs from {start} to {end}.")
        parts.append(said(text, **ends_of(line)))
    parts.append(borrowed_words(result))
    return " ".join([*filter(None, parts), *break_sentences(result)])


def _course(years: Sequence[SpeciesYear]) -> str:
    """The corrected shares of the first and the last season, and the extremes between them."""
    first, last = years[0], years[-1]
    ends = {
        "first": first.season_year,
        "start": share_with_interval(first.occupancy),
        "last": last.season_year,
        "end": share_with_interval(last.occupancy),
    }
    if last is first:
        return said("Corrected for detection: {start} in {first}.", **ends)
    between = years[1:-1]
    if not between:
        return said("Corrected for detection: {start} in {first}, {end} in {last}.", **ends)
    lowest = min(between, key=lambda year: year.occupancy.value or 0.0)
    highest = max(between, key=lambda year: year.occupancy.value or 0.0)
    return said(
        "Corrected for detection: {start} in {first}, {end} in {last}, in between {lowest} "
        "({low_year}) to {highest} ({high_year}).",
        **ends,
        lowest=share(lowest.occupancy.value),
        low_year=lowest.season_year,
        highest=share(highest.occupancy.value),
        high_year=highest.season_year,
    )
