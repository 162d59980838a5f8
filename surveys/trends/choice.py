"""Which trend is told: a short list of models, chosen between by an information criterion.

Detection first, with occupancy depending on the year alone; then, under the detection that was
chosen, what occupancy depends on beside the year. The lists are short and fixed, so that the
choice is between answers somebody would give, not among all that chance offers.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from .analyzed import ModelLine
from .histories import Histories
from .kinds import (
    FISH,
    HABITAT,
    WATER_HELD,
    EmptyKind,
    SiteTerm,
)
from .models.occupancy import OccupancyFit
from .models.trend import (
    TrendFit,
    fit_trend,
)
from .numerics.arrays import (
    BoolArray,
    FloatArray,
)
from .results import (
    DID_NOT_CONVERGE,
    EDGE_OF_RANGE,
    NO_REPEAT_VISITS,
    NOT_IDENTIFIED,
)

CONSTANT = "the same on every visit"
BY_YEAR = ", its level free in each year"
_SEASON = ("night", "night squared")
_WATER = ("rain", "water")
_AIR = ("minutes after sunset", "wind", "noise")
# What makes frogs call (season, warmth, rain and water), and what makes them heard.
DETECTION: Mapping[str, tuple[str, ...]] = {
    CONSTANT: (),
    "night of the season": _SEASON,
    "night and temperature": (*_SEASON, "temperature"),
    "night, temperature, rain and water": (*_SEASON, "temperature", *_WATER),
    "night, temperature, time, wind and noise": (*_SEASON, "temperature", *_AIR),
    "night, temperature, rain, water, time, wind and noise": (
        *_SEASON,
        "temperature",
        *_WATER,
        *_AIR,
    ),
}
SAME = "the year alone"
# A habitat mostly tells how long it holds water and whether it has fish: beside both it would
# only share out the same difference.
OCCUPANCY: Mapping[str, tuple[str, ...]] = {
    SAME: (),
    "year and how long water is held": (WATER_HELD,),
    "year and fish": (FISH,),
    "year, water held and fish": (WATER_HELD, FISH),
    "year and habitat": (HABITAT,),
}
# Common practice, no source: a covariate wants about ten cases of the rarer outcome.
HITS_PER_COVARIATE = 10
# A covariate that is missing more often than this is not used.
MOST_FILLED = 0.2
_UNFIT = (DID_NOT_CONVERGE, EDGE_OF_RANGE, NOT_IDENTIFIED)


@dataclass(frozen=True, kw_only=True)
class Choice:
    """The trend that is told, with the models it was chosen from. ``empty`` are the kinds of
    sites at which the species was never heard, where the model tells kinds apart."""

    trend: TrendFit
    detection: str
    occupancy: str
    detection_models: tuple[ModelLine, ...]
    occupancy_models: tuple[ModelLine, ...]
    terms: Mapping[str, SiteTerm] = field(default_factory=dict)

    @property
    def empty(self) -> tuple[EmptyKind, ...]:
        return tuple(kind for term in self.terms.values() for kind in term.empty)

    @property
    def detection_covariates(self) -> tuple[str, ...]:
        return DETECTION[self.detection.removesuffix(BY_YEAR)]


def choose_trend(
    histories: Histories,
    covariates: Mapping[str, FloatArray],
    terms: Mapping[str, SiteTerm],
) -> Choice:
    """The linear trend under the best models of detection and occupancy.

    Models of detection are compared under the best occupancy for constant detection: what sites
    are like must not pass for what nights are like. The best detection is also tried with a level
    of its own for each year: frogs that became harder to hear otherwise look like a decline.
    """

    def fit(detection: str, own: Mapping[str, SiteTerm]) -> TrendFit:
        return _fit(histories, covariates, detection, tuple(own.values()))

    constant = fit(CONSTANT, {})
    if constant.fit.maximum is None or NO_REPEAT_VISITS in constant.fit.flags:
        return Choice(
            trend=constant,
            detection=CONSTANT,
            occupancy=SAME,
            detection_models=(),
            occupancy_models=(),
        )
    of_sites = _occupancy_candidates(histories, terms)
    working = _Contest(SAME, constant, {})
    for name, own in of_sites.items():
        working.enter(name, fit(CONSTANT, own), own)
    rarer = rarer_outcome(histories.detected)
    nights = _Contest(CONSTANT, working.trend, working.terms)
    for name, needed in DETECTION.items():
        if needed and all(c in covariates for c in needed) and carries(rarer, len(needed)):
            nights.enter(name, fit(name, working.terms), working.terms)
    by_year = nights.best + BY_YEAR
    nights.enter(by_year, fit(by_year, working.terms), working.terms)
    detection = nights.best
    sites = _Contest(SAME, fit(detection, {}), {})
    for name, own in of_sites.items():
        sites.enter(name, fit(detection, own), own)
    return Choice(
        trend=sites.trend,
        detection=detection,
        occupancy=sites.best,
        detection_models=_ranked(nights.candidates),
        occupancy_models=_ranked(sites.candidates) if of_sites else (),
        terms=sites.terms,
    )


def _occupancy_candidates(
    histories: Histories, terms: Mapping[str, SiteTerm]
) -> dict[str, dict[str, SiteTerm]]:
    """The models of occupancy beside the year that the sites carry.

    A site counts as heard by the share of its seasons with the species and as silent by the rest:
    the seasons of one site are not so many sites. Kinds never heard count for neither.
    """
    heard = np.nansum(histories.detected, axis=1) > 0
    _, site, seasons = np.unique(histories.site, return_inverse=True, return_counts=True)
    worth = 1 / seasons[site]
    found = {}
    for name, needed in OCCUPANCY.items():
        own = {one: terms[one] for one in needed if one in terms}
        kept = ~_empty_rows(histories, tuple(own.values()))
        columns = sum(len(term.columns) for term in own.values())
        rarer = min(float(worth[heard & kept].sum()), float(worth[~heard & kept].sum()))
        enough = carries(rarer, columns) and len(np.unique(site[heard])) >= HITS_PER_COVARIATE
        if needed and len(own) == len(needed) and enough:
            found[name] = own
    return found


def rarer_outcome(detected: FloatArray) -> int:
    """Hits, or misses where the species was heard in the season, whichever are fewer."""
    heard = detected[np.nansum(detected, axis=1) > 0]
    return int(min(np.nansum(heard), np.nansum(1 - heard)))


def carries(rarer: float, covariates: int) -> bool:
    """Whether so many of the rarer outcome carry so many covariates."""
    return rarer >= HITS_PER_COVARIATE * covariates


def nested_in(model: str) -> tuple[str, ...]:
    """The models of detection with no covariate that this one lacks, the simplest first."""
    own = set(DETECTION[model.removesuffix(BY_YEAR)])
    return tuple(name for name, needed in DETECTION.items() if set(needed) <= own)


def filled_with_mean(histories: Histories) -> tuple[dict[str, FloatArray], dict[str, float]]:
    """Covariates with the mean in place of what is missing, and the share that was missing.

    Leaving such visits out instead would let every model see other data, and AIC compare nothing.
    """
    listened = ~np.isnan(histories.detected)
    found, shares = {}, {}
    for name, values in histories.visit_covariates.items():
        missing = listened & np.isnan(values)
        known = values[listened & ~missing]
        share = float(missing.sum() / max(listened.sum(), 1))
        if len(known) and share <= MOST_FILLED and np.ptp(known) > 0:
            found[name] = np.where(missing, known.mean(), values)
            if share:
                shares[name] = share
    return found, shares


@dataclass(frozen=True, kw_only=True)
class _Candidate:
    """``parameters`` are the coefficients, and one for each kind of site whose occupancy is 0."""

    parameters: int
    criterion: float
    flags: tuple[str, ...]


class _Contest:
    """Candidates by name. Fits of a large program are large: that of the best alone is kept."""

    def __init__(self, name: str, trend: TrendFit, terms: Mapping[str, SiteTerm]) -> None:
        self.candidates: dict[str, _Candidate] = {}
        self.enter(name, trend, terms)

    def enter(self, name: str, trend: TrendFit, terms: Mapping[str, SiteTerm]) -> None:
        fit = trend.fit
        parameters = len(fit.coefficients) + sum(len(term.empty) for term in terms.values())
        worth = max(float(parameters), penalty(fit))
        self.candidates[name] = _Candidate(
            parameters=parameters,
            criterion=2 * worth - 2 * fit.log_likelihood,
            flags=fit.flags,
        )
        if _best(self.candidates) == name:
            self.best, self.trend, self.terms = name, trend, terms


def penalty(fit: OccupancyFit) -> float:
    """How many parameters the fit is worth when rows of a cluster are alike.

    trace(information @ clustered covariance), the penalty of an information criterion for a
    likelihood that takes dependent rows as independent (Takeuchi 1976; Varin & Vidoni 2005,
    Biometrika 92:519-528; numbers from memory). 0 where there is no clustered covariance.
    """
    if fit.clustered_covariance is None:
        return 0.0
    known = ~np.isnan(np.diag(fit.clustered_covariance)) & ~np.isnan(np.diag(fit.covariance))
    block = np.ix_(known, known)
    return float(np.trace(np.linalg.solve(fit.covariance[block], fit.clustered_covariance[block])))


def _fit(
    histories: Histories,
    covariates: Mapping[str, FloatArray],
    model: str,
    terms: Sequence[SiteTerm],
) -> TrendFit:
    empty = _empty_rows(histories, terms)
    return fit_trend(
        histories.detected,
        histories.season_year,
        histories.cluster,
        occupancy={name: values for term in terms for name, values in term.columns.items()},
        detection={name: covariates[name] for name in DETECTION[model.removesuffix(BY_YEAR)]},
        detection_by_year=model.endswith(BY_YEAR),
        empty=empty if empty.any() else None,
    )


def _empty_rows(histories: Histories, terms: Sequence[SiteTerm]) -> BoolArray:
    empty = np.zeros(len(histories.site), dtype=np.bool_)
    for term in terms:
        for kind in term.empty:
            empty |= kind.rows
    return empty


def _best(candidates: Mapping[str, _Candidate]) -> str:
    """The first in rank that has no parameter at the edge; the simplest when all have one."""
    usable = [line.name for line in _ranked(candidates) if not set(line.flags) & set(_UNFIT)]
    return usable[0] if usable else next(iter(candidates))


def _ranked(candidates: Mapping[str, _Candidate]) -> tuple[ModelLine, ...]:
    """The best first; those that did not settle come last."""
    settled = {
        name: own.criterion
        for name, own in candidates.items()
        if np.isfinite(own.criterion) and DID_NOT_CONVERGE not in own.flags
    }
    best = min(settled.values(), default=0.0)
    lines = [
        ModelLine(
            name=name,
            parameters=own.parameters,
            aic=own.criterion if np.isfinite(own.criterion) else None,
            delta=settled[name] - best if name in settled else None,
            flags=own.flags,
        )
        for name, own in candidates.items()
    ]
    return tuple(sorted(lines, key=lambda line: (line.delta is None, line.delta or 0.0)))
