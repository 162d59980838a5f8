"""What is known of sites, as covariates of occupancy.

An amount (how long water is held) becomes a number, a class (habitat, fish) one indicator column
for each class but the commonest. A route has the mean over its stops that were listened to in the
season: of a class, the share of its stops.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from surveys.trends.histories import Histories, PeriodColumns, Site
from surveys.trends.numerics.arrays import AnyArray, BoolArray, FloatArray, distinct, numbered
from surveys.trends.periods import HYDROPERIOD

# Common practice, no source: a class of fewer sites has no column of its own.
FEWEST_SITES = 10
HABITAT, WATER_HELD, FISH = "habitat", "hydroperiod", "fish"
UNKNOWN = "unknown"
OTHER = "other"


@dataclass(frozen=True, kw_only=True)
class EmptyKind:
    """A kind of site at which the species was never heard; ``rows`` (rows,) marks them."""

    name: str
    sites: int
    rows: BoolArray


@dataclass(frozen=True, kw_only=True)
class SiteCovariate:
    """One thing known of sites.

    ``columns`` (rows,) have names such as ``habitat: marsh`` and are against the class
    ``baseline`` (blank for an amount); ``filled`` is the share of rows that took the mean. The odds
    of a kind of site at which the species was never heard are 0, which no coefficient can reach:
    such kinds are in ``empty`` instead of the columns.
    """

    columns: Mapping[str, FloatArray]
    baseline: str
    filled: float
    empty: tuple[EmptyKind, ...]


def site_covariates(
    histories: Histories,
    periods: PeriodColumns,
    stops: Mapping[str, Mapping[int, str]],
    site: Site,
) -> dict[str, SiteCovariate]:
    """What is known of the sites of ``histories``, by name of the covariate.

    ``periods`` are those the histories were built from, ``stops`` the facts of each stop by name.
    A covariate that does not vary is left out.
    """
    row, stop_of_row = _stops_of_rows(histories, periods, site)
    known, stop = numbered(stop_of_row)
    covariates: dict[str, SiteCovariate | None] = {}
    for name in (HABITAT, FISH):
        class_of = stops.get(name, {})
        labels, label = np.unique(
            np.array([class_of.get(key, UNKNOWN) for key in known.tolist()], dtype=np.str_),
            return_inverse=True,
        )
        covariates[name] = _classes(name, labels.tolist(), label[stop], row, histories)
    held = stops.get(WATER_HELD, {})
    amounts = np.array(
        [HYDROPERIOD.get(held.get(key, "")) for key in known.tolist()], dtype=np.float64
    )
    covariates[WATER_HELD] = _amount(amounts[stop], row, len(histories.site))
    return {name: covariate for name, covariate in covariates.items() if covariate is not None}


def _stops_of_rows(
    histories: Histories, periods: PeriodColumns, site: Site
) -> tuple[AnyArray, AnyArray]:
    """Each row with each of its stops that were listened to: row numbers, and stops."""
    if site == "stop":
        return np.arange(len(histories.site)), histories.site
    listened = ~np.isnan(periods.heard)
    labels, years = distinct(histories.site), distinct(histories.season_year)

    def keys(site: AnyArray, year: AnyArray) -> AnyArray:
        return np.searchsorted(labels, site) * len(years) + np.searchsorted(years, year)

    of_rows = keys(histories.site, histories.season_year)
    order = np.argsort(of_rows)
    of_periods = keys(periods.route[listened], periods.season_year[listened])
    row = order[np.searchsorted(of_rows[order], of_periods)]
    stops, stop = numbered(periods.stop[listened])
    pairs = distinct(row * max(len(stops), 1) + stop)
    return pairs // max(len(stops), 1), stops[pairs % max(len(stops), 1)]


def _classes(
    name: str, labels: list[str], label_of: AnyArray, row: AnyArray, histories: Histories
) -> SiteCovariate | None:
    """``label_of`` numbers the label of each stop of a row (see ``_stops_of_rows``)."""
    rows = len(histories.site)
    total = np.bincount(row, minlength=rows).astype(np.float64)
    heard = np.nansum(histories.detected, axis=1) > 0
    shares = {
        label: np.bincount(row, weights=label_of == at, minlength=rows) / np.maximum(total, 1)
        for at, label in enumerate(labels)
    }
    sites = {label: _distinct(histories.site[share > 0]) for label, share in shares.items()}
    small = [label for label in shares if sites[label] < FEWEST_SITES or label == OTHER]
    pooled = sum((shares.pop(label) for label in small), np.zeros(rows))
    if _distinct(histories.site[pooled > 0]) >= FEWEST_SITES:
        shares[OTHER], pooled = pooled, np.zeros(rows)
    empty = tuple(
        EmptyKind(name=f"{name}: {label}", sites=_distinct(histories.site[share > 0]), rows=whole)
        for label, share in shares.items()
        if (whole := share == 1).sum() == (share > 0).sum() and not heard[whole].any()
    )
    for kind in empty:
        del shares[kind.name.removeprefix(f"{name}: ")]
    if not shares or (len(shares) == 1 and not empty):
        return None
    # The commonest class, and of two as common the first by name.
    baseline = max(sorted(shares), key=lambda label: float(shares[label].sum()))
    known = 1 - pooled
    columns = {
        f"{name}: {label}": share + pooled * float(share.sum() / known.sum())
        for label, share in shares.items()
        if label != baseline
    }
    return SiteCovariate(
        columns=columns, baseline=baseline, filled=float((pooled > 0).mean()), empty=empty
    )


def _amount(amounts: FloatArray, row: AnyArray, rows: int) -> SiteCovariate | None:
    known = ~np.isnan(amounts)
    count = np.bincount(row[known], minlength=rows)
    total = np.bincount(row[known], weights=amounts[known], minlength=rows)
    if not count.any():
        return None
    mean = total / np.maximum(count, 1)
    values = np.where(count > 0, mean, mean[count > 0].mean())
    if np.ptp(values) == 0:
        return None
    return SiteCovariate(
        columns={WATER_HELD: values}, baseline="", filled=float((count == 0).mean()), empty=()
    )


def _distinct(sites: AnyArray) -> int:
    return len(distinct(sites))
