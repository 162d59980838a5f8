"""Sightings of a publication, and the shares that follow from them."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from surveys.trends.from_tables import read_columns
from surveys.trends.result_tables import Row
from surveys.trends.sightings import Seen, TraitShare, trait_shares


def sighting_share_rows(folder: Path) -> Iterator[Row]:
    """The rows of the table of shares, from the published sightings in ``folder``."""
    return map(sighting_share_row, trait_shares(_read_sightings(folder)))


def sighting_share_row(one: TraitShare) -> Row:
    """The row of a species, region, season year, trait and value."""
    return {
        "species": one.species,
        "region": one.region,
        "season_year": one.season_year,
        "trait": one.trait,
        "value": one.value,
        "number": one.number,
        "of": one.of,
        "routes": one.routes,
        "share": one.share.value,
        "share_low": one.share.low,
        "share_high": one.share.high,
        "method": f"{one.share.interval}; {one.share.method}",
        "flags": "; ".join(one.share.flags),
    }


def _read_sightings(folder: Path) -> Iterator[Seen]:
    """None in publications from before there was such a table."""
    if not (folder / "sightings.csv").exists():
        return
    regions = dict(read_columns(folder, "routes", "route", "region"))
    visits = {
        visit: (route, int(year))
        for visit, route, year in read_columns(folder, "visits", "visit", "route", "season_year")
    }
    for visit, species, stage, form, count in read_columns(
        folder, "sightings", "visit", "species", "life_stage", "color_form", "count"
    ):
        route, year = visits[visit]
        yield Seen(
            species=species,
            region=regions[route],
            season_year=year,
            route=route,
            life_stage=stage,
            color_form=form,
            count=int(count) if count else None,
        )
