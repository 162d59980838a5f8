"""The choice of the trend model, from a short list and by an information criterion.

The detection model comes first, then, under the detection that was chosen, what occupancy depends
on beside the year. The lists are short and fixed, so that every candidate is an answer
a biologist would defend, and chance has little to choose from.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from typing import TypedDict

import numpy as np
from numpy.typing import ArrayLike

from surveys.trends.criterion import Candidate, candidate_of
from surveys.trends.estimates import DID_NOT_CONVERGE, NO_REPEAT_VISITS
from surveys.trends.histories import Histories
from surveys.trends.models.level_models import LevelModel, equal_detection
from surveys.trends.models.likely_levels import likely_levels
from surveys.trends.models.trend import TrendFit, fit_trend
from surveys.trends.models.year_levels import YearLevels, fit_year_levels
from surveys.trends.numerics.arrays import BoolArray, FloatArray
from surveys.trends.numerics.visit_columns import picked
from surveys.trends.site_covariates import FISH, HABITAT, WATER_HELD, EmptyKind, SiteCovariate
from surveys.trends.species_result import RankedModel
from surveys.trends.unequal_contest import UNEQUAL, unequal_candidates

CONSTANT = "constant"
BY_YEAR = "+by-year"
_SEASON = ("night", "night squared")
_WATER = ("rain", "water")
_LEVEL = ("water",)
_AIR = ("minutes after sunset", "wind", "noise")
# What makes frogs call (season, warmth, rain and water), and what makes them heard.
DETECTION: Mapping[str, tuple[str, ...]] = {
    CONSTANT: (),
    "night": _SEASON,
    "night-temperature": (*_SEASON, "temperature"),
    "night-temperature-level": (*_SEASON, "temperature", *_LEVEL),
    "night-temperature-water": (*_SEASON, "temperature", *_WATER),
    "night-temperature-air": (*_SEASON, "temperature", *_AIR),
    "night-temperature-level-air": (*_SEASON, "temperature", *_LEVEL, *_AIR),
    "night-temperature-water-air": (*_SEASON, "temperature", *_WATER, *_AIR),
}
# Rain is the reading that is most often missing. Only where it is do these stand in for their
# models with rain: side by side they would be two chances for nearly the same answer.
WITHOUT_RAIN = ("night-temperature-level", "night-temperature-level-air")
SAME = "year"
# Habitat mostly stands for how long water is held and for fish: beside both it would only split
# the same difference.
OCCUPANCY: Mapping[str, tuple[str, ...]] = {
    SAME: (),
    "year-water-held": (WATER_HELD,),
    "year-fish": (FISH,),
    "year-water-held-fish": (WATER_HELD, FISH),
    "year-habitat": (HABITAT,),
}
# Common practice, no source: a covariate wants about ten cases of the rarer outcome.
HITS_PER_COVARIATE = 10
# A covariate that is missing more often than this is not used.
MOST_FILLED = 0.2


@dataclass(frozen=True, kw_only=True)
class Choice:
    """The chosen trend and the models it was compared with, best first.

    ``site_covariates`` are those of the chosen occupancy model.
    """

    trend: TrendFit
    detection: str
    occupancy: str
    detection_models: tuple[RankedModel, ...]
    occupancy_models: tuple[RankedModel, ...]
    site_covariates: Mapping[str, SiteCovariate] = field(default_factory=dict)

    @property
    def empty(self) -> tuple[EmptyKind, ...]:
        """The kinds of sites never heard at, if the model distinguishes kinds."""
        return tuple(
            kind for covariate in self.site_covariates.values() for kind in covariate.empty
        )

    @property
    def detection_covariates(self) -> tuple[str, ...]:
        """Names of the covariates of the chosen detection model."""
        return detection_covariates(self.detection)


def choose_trend(
    histories: Histories,
    covariates: Mapping[str, FloatArray],
    site_covariates: Mapping[str, SiteCovariate],
) -> Choice:
    """The linear trend under the best models of detection and occupancy.

    Detection models are compared under the best occupancy model for constant detection: what sites
    are like must not pass for what nights are like. The best detection model is also tried with a
    level of its own for each year: frogs that became harder to hear otherwise look like a decline.
    """

    fit = partial(_fit, histories, covariates)
    constant = fit(CONSTANT, {})
    if constant.fit.maximum is None or NO_REPEAT_VISITS in constant.fit.flags:
        return Choice(
            trend=constant,
            detection=CONSTANT,
            occupancy=SAME,
            detection_models=(),
            occupancy_models=(),
        )
    occupancy_candidates = _occupancy_candidates(histories, site_covariates)
    working = _Contest(SAME, constant, {})
    for name, of_sites in occupancy_candidates.items():
        working.enter(name, fit(CONSTANT, of_sites, constant), of_sites)
    detection = _Contest(CONSTANT, working.trend, working.site_covariates)
    for name in (*_detection_candidates(histories, covariates), BY_YEAR):
        model = detection.best + BY_YEAR if name == BY_YEAR else name
        trend = fit(model, working.site_covariates, detection.trend)
        detection.enter(model, trend, working.site_covariates)

    def under_best(name: str) -> TrendFit:
        if name == working.best:
            return detection.trend
        return fit(detection.best, occupancy_candidates.get(name, {}), detection.trend)

    occupancy = _Contest(SAME, under_best(SAME), {})
    for name, of_sites in occupancy_candidates.items():
        occupancy.enter(name, under_best(name), of_sites)
    levels = partial(_levels, histories, covariates, likely_levels(occupancy.trend))
    unequal = _unequal_detection(detection, occupancy, levels)
    return Choice(
        trend=occupancy.trend,
        detection=unequal or detection.best,
        occupancy=occupancy.best,
        detection_models=_ranked(detection.candidates),
        occupancy_models=_ranked(occupancy.candidates) if occupancy_candidates else (),
        site_covariates=occupancy.site_covariates,
    )


def _unequal_detection(
    detection: _Contest,
    occupancy: _Contest,
    levels: Callable[[str, Mapping[str, SiteCovariate]], YearLevels],
) -> str:
    """The best model of detection in which sites differ, if it beats the one without; else blank.

    They enter last, under the occupancy that was chosen, and are ranked with the others. One with a
    flag is told and never chosen. ``levels`` fits yearly levels under a model by name.
    """
    plain, site_covariates = occupancy.trend.fit, occupancy.site_covariates
    equal = candidate_of(plain, site_covariates).criterion
    # Both were fitted under the chosen occupancy: what differs from equal detection there is
    # carried to the list, whose models were fitted under the working one.
    shift = detection.candidates[detection.best].criterion - equal
    chosen, best = "", equal
    candidates = unequal_candidates(
        plain, site_covariates, lambda form: levels(detection.best + form, site_covariates)
    )
    for form, candidate in candidates.items():
        name = detection.best + form
        detection.candidates[name] = replace(candidate, criterion=candidate.criterion + shift)
        if candidate.criterion < best and candidate.is_usable:
            chosen, best = name, candidate.criterion
    return chosen


def _occupancy_candidates(
    histories: Histories, site_covariates: Mapping[str, SiteCovariate]
) -> dict[str, dict[str, SiteCovariate]]:
    """The models of occupancy beside the year that the sites can carry.

    A site counts as heard by the share of its seasons with the species and as silent by the rest:
    the seasons of one site are not so many sites. Kinds never heard count for neither.
    """
    heard = np.nansum(histories.detected, axis=1) > 0
    _, site, seasons = np.unique(histories.site, return_inverse=True, return_counts=True)
    site_share = 1 / seasons[site]
    candidates = {}
    for name, needed in OCCUPANCY.items():
        of_model = {key: site_covariates[key] for key in needed if key in site_covariates}
        kept = ~_empty_rows(histories, tuple(of_model.values()))
        columns = sum(len(covariate.columns) for covariate in of_model.values())
        rarer = min(float(site_share[heard & kept].sum()), float(site_share[~heard & kept].sum()))
        enough = carries(rarer, columns) and len(np.unique(site[heard])) >= HITS_PER_COVARIATE
        if needed and len(of_model) == len(needed) and enough:
            candidates[name] = of_model
    return candidates


def _detection_candidates(
    histories: Histories, covariates: Mapping[str, FloatArray]
) -> tuple[str, ...]:
    """The models of detection with covariates that the visits can carry, the simplest first."""
    rarer = rarer_outcome(histories.detected)
    return tuple(
        name
        for name, needed in DETECTION.items()
        if needed
        and all(c in covariates for c in needed)
        and carries(rarer, len(needed))
        and not ("rain" in covariates and name in WITHOUT_RAIN)
    )


def rarer_outcome(detected: FloatArray) -> int:
    """How many visits heard the species or, if fewer, missed it at a site heard in the season."""
    heard = detected[np.nansum(detected, axis=1) > 0]
    return int(min(np.nansum(heard), np.nansum(1 - heard)))


def carries(rarer: float, covariates: int) -> bool:
    """Whether so many cases of the rarer outcome can carry so many covariates."""
    return rarer >= HITS_PER_COVARIATE * covariates


def nested_in(model: str) -> tuple[str, ...]:
    """The detection models with no covariate that this one lacks, the simplest first."""
    within = set(detection_covariates(model))
    return tuple(name for name, needed in DETECTION.items() if set(needed) <= within)


def detection_covariates(model: str) -> tuple[str, ...]:
    """Names of the covariates of a detection model, whether or not its level is free by year and
    sites differ beside them."""
    return DETECTION[without_unequal(model).removesuffix(BY_YEAR)]


def without_unequal(model: str) -> str:
    """The detection model in which sites differ by their covariates alone."""
    for suffix in UNEQUAL:
        model = model.removesuffix(suffix)
    return model


def level_model(model: str) -> LevelModel:
    """How sites differ in detection beside the covariates of a model by name."""
    suffix = model.removeprefix(without_unequal(model))
    return UNEQUAL[suffix] if suffix else equal_detection


def fill_with_mean(histories: Histories) -> tuple[dict[str, FloatArray], dict[str, float]]:
    """Covariates with the mean in place of what is missing, and the share that was missing.

    Leaving such visits out instead would give every model other data, so that AIC could not compare
    them. Covariates that are missing too often, or do not vary, are left out.
    """
    listened = ~np.isnan(histories.detected)
    filled, shares = {}, {}
    for name, values in histories.visit_covariates.items():
        missing = listened & np.isnan(values)
        known = values[listened & ~missing]
        share = float(missing.sum() / max(listened.sum(), 1))
        if len(known) and share <= MOST_FILLED and np.ptp(known) > 0:
            filled[name] = np.where(missing, known.mean(), values)
            if share:
                shares[name] = share
    return filled, shares


def in_order_of_models(covariates: Mapping[str, FloatArray]) -> dict[str, FloatArray]:
    """The covariates as the richest model names them, those of no model last.

    Most models then use the first few, which ``VisitColumns`` hands out without a copy.
    """
    named = [name for name in list(DETECTION.values())[-1] if name in covariates]
    return {name: covariates[name] for name in dict.fromkeys([*named, *covariates])}


class _Contest:
    """Models compared by their criterion.

    Fits of a large program take much memory, so only that of the best so far is kept.
    """

    def __init__(
        self, name: str, trend: TrendFit, site_covariates: Mapping[str, SiteCovariate]
    ) -> None:
        self.candidates: dict[str, Candidate] = {}
        self.enter(name, trend, site_covariates)

    def enter(
        self, name: str, trend: TrendFit, site_covariates: Mapping[str, SiteCovariate]
    ) -> None:
        """Add a candidate, which becomes ``best`` if it beats those before it."""
        self.candidates[name] = candidate_of(trend.fit, site_covariates)
        if _best(self.candidates) == name:
            self.best, self.trend, self.site_covariates = name, trend, site_covariates


class Terms(TypedDict):
    """What a fit over years takes beside histories, season years and routes."""

    occupancy: Mapping[str, ArrayLike]
    detection: Mapping[str, ArrayLike]
    detection_by_year: bool
    empty: BoolArray | None


def model_terms(
    histories: Histories,
    covariates: Mapping[str, FloatArray],
    model: str,
    site_covariates: Sequence[SiteCovariate],
) -> Terms:
    """The terms of a model of detection by name, with covariates of occupancy."""
    empty = _empty_rows(histories, site_covariates)
    columns = [covariate.columns for covariate in site_covariates]
    return {
        "occupancy": {name: values for named in columns for name, values in named.items()},
        "detection": picked(covariates, detection_covariates(model)),
        "detection_by_year": without_unequal(model).endswith(BY_YEAR),
        "empty": empty if empty.any() else None,
    }


def _fit(
    histories: Histories,
    covariates: Mapping[str, FloatArray],
    model: str,
    site_covariates: Mapping[str, SiteCovariate],
    like: TrendFit | None = None,
) -> TrendFit:
    return fit_trend(
        histories.detected,
        histories.season_year,
        histories.cluster,
        **model_terms(histories, covariates, model, tuple(site_covariates.values())),
        like=like,
    )


def _levels(
    histories: Histories,
    covariates: Mapping[str, FloatArray],
    like: Mapping[str, float],
    model: str,
    site_covariates: Mapping[str, SiteCovariate],
) -> YearLevels:
    return fit_year_levels(
        histories.detected,
        histories.season_year,
        histories.cluster,
        **model_terms(histories, covariates, model, tuple(site_covariates.values())),
        sites=histories.site,
        model=level_model(model),
        like=like,
    )


def _empty_rows(histories: Histories, site_covariates: Sequence[SiteCovariate]) -> BoolArray:
    empty = np.zeros(len(histories.site), dtype=np.bool_)
    for covariate in site_covariates:
        for kind in covariate.empty:
            empty |= kind.rows
    return empty


def _best(candidates: Mapping[str, Candidate]) -> str:
    """The best without a parameter at the edge of its range; the simplest when all have one."""
    usable = [model.name for model in _ranked(candidates) if candidates[model.name].is_usable]
    return usable[0] if usable else next(iter(candidates))


def _ranked(candidates: Mapping[str, Candidate]) -> tuple[RankedModel, ...]:
    """The best first; models that did not converge come last."""
    settled = {
        name: candidate.criterion
        for name, candidate in candidates.items()
        if np.isfinite(candidate.criterion) and DID_NOT_CONVERGE not in candidate.flags
    }
    best = min(settled.values(), default=0.0)
    models = [
        RankedModel(
            name=name,
            parameters=candidate.parameters,
            aic=candidate.criterion if np.isfinite(candidate.criterion) else None,
            delta=settled[name] - best if name in settled else None,
            flags=candidate.flags,
        )
        for name, candidate in candidates.items()
    ]
    return tuple(sorted(models, key=lambda model: (model.delta is None, model.delta or 0.0)))
