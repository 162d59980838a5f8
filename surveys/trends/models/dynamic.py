"""Dynamic occupancy: colonization and extinction between seasons (MacKenzie et al. 2003)."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import partial
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import expit, logit

from surveys.trends import estimates
from surveys.trends.estimates import Estimate
from surveys.trends.models.dynamic_likelihood import (
    DynamicCells,
    cell_scores,
    dynamic_cells,
    every_nth,
    objective,
    yearly_shares,
)
from surveys.trends.models.model_fit import (
    HoldsModelFit,
    ModelFit,
    clustered_by,
    derived_share,
    fit_model,
    line_estimate,
    unfitted,
)
from surveys.trends.models.occupancy import check_histories
from surveys.trends.numerics.arrays import FloatArray, float_array
from surveys.trends.numerics.design import (
    INTERCEPT,
    Design,
    all_standardized,
    at_mean_covariates,
    coefficient_names,
    site_design,
)
from surveys.trends.numerics.optimize import maximize

METHOD = "dynamic-occupancy"
Part = Literal["initial occupancy", "colonization", "extinction", "detection"]
Covariates = Mapping[str, ArrayLike]
# With twice as many cells or more, starts are compared on about so many.
_MANY = 600


@dataclass(frozen=True, kw_only=True, repr=False)
class DynamicFit(HoldsModelFit):
    """A fitted dynamic model; ``parts`` holds the design of each of the four chances."""

    fitted: ModelFit
    parts: Mapping[Part, Design]
    cells: DynamicCells
    seasons: int


def fit_dynamic(
    detections: ArrayLike,
    *,
    initial: Covariates | None = None,
    colonization: Covariates | None = None,
    extinction: Covariates | None = None,
    detection: Covariates | None = None,
    clusters: ArrayLike | None = None,
) -> DynamicFit:
    """Fit initial occupancy, colonization, extinction and detection by maximum likelihood.

    Parameters
    ----------
    detections
        (sites, seasons, visits) of 1 heard, 0 not heard and NaN for a visit that did not happen. A
        season without visits is allowed; a site that was never visited is left out.
    initial
        Covariates of initial occupancy by name, (sites,).
    colonization, extinction
        Covariates by name, (sites,) or (sites, seasons - 1), of the step to the next season.
    detection
        Covariates by name, (sites,), (sites, seasons) or (sites, seasons, visits). Visits for which
        one is NaN are left out.
    clusters
        (sites,) labels of sites that belong together; asks for clustered standard errors, with Wald
        intervals by t.

    Returns
    -------
    DynamicFit
        With flags in place of numbers where the data carry none.

    Raises
    ------
    ValueError
        For arrays of the wrong shape, values other than 0, 1 and NaN, or a missing covariate of
        anything but detection.

    References
    ----------
    MacKenzie et al. 2003, Ecology 84:2200-2207.

    Examples
    --------
    >>> import numpy as np
    >>> rng = np.random.default_rng(1)
    >>> occupied = np.empty((200, 5), dtype=bool)
    >>> occupied[:, 0] = rng.random(200) < 0.6
    >>> for season in range(1, 5):
    ...     chance = np.where(occupied[:, season - 1], 0.8, 0.2)
    ...     occupied[:, season] = rng.random(200) < chance
    >>> heard = occupied[:, :, None] & (rng.random((200, 5, 3)) < 0.6)
    >>> fit = fit_dynamic(heard)
    >>> loss = dynamic_chance(fit, "extinction")
    >>> bool(loss.low < 0.2 < loss.high)
    True
    """
    history = float_array(detections, name="detections", ndim=3)
    sites, seasons, visits = history.shape
    check_histories(history.reshape(sites, seasons * visits))
    steps = max(seasons - 1, 0)
    parts: dict[Part, Design] = {
        "initial occupancy": site_design(sites, initial),
        "colonization": grid_design((sites, steps), colonization),
        "extinction": grid_design((sites, steps), extinction),
        "detection": _detection_design((sites, seasons, visits), detection),
    }
    for part in ("initial occupancy", "colonization", "extinction"):
        if np.isnan(parts[part].matrix).any():
            raise ValueError(f"{part}: covariates must not be missing; fill or drop those sites")
    history, flags = _without_unknown_visits(history, parts["detection"])
    kept = np.asarray(~np.isnan(history).all(axis=(1, 2)))
    history = history[kept]
    parts = {part: design.select(kept) for part, design in parts.items()}
    names = coefficient_names(parts)
    flags = estimates.merge_flags(flags, _data_flags(history, seasons))
    matrices, back = all_standardized(parts.values())
    cells = dynamic_cells(history, *matrices)
    if {estimates.NO_EFFORT, estimates.NEVER_HEARD, estimates.TOO_FEW_DATA} & set(flags):
        fitted = unfitted(method=METHOD, names=names, rows=len(history), flags=flags)
    else:
        fitted = _fit(cells, _starts(history, parts), back, names, flags)
    fitted = clustered_by(
        fitted, clusters, kept, lambda theta: cell_scores(cells, theta)[cells.group]
    )
    return DynamicFit(fitted=fitted, parts=parts, cells=cells, seasons=seasons)


def dynamic_chance(fit: DynamicFit, part: Part, *, level: float = 0.95) -> Estimate:
    """One of the four chances of the model, at the mean of its covariates.

    Parameters
    ----------
    fit
        A fitted model.
    part
        ``"initial occupancy"``, ``"colonization"``, ``"extinction"`` or ``"detection"``.
    level
        Confidence level of the interval.

    Returns
    -------
    Estimate
        A chance from 0 to 1, with a profile-likelihood interval, or Wald when the fit is clustered.

    Examples
    --------
    >>> import numpy as np
    >>> rng = np.random.default_rng(1)
    >>> occupied = np.empty((200, 5), dtype=bool)
    >>> occupied[:, 0] = rng.random(200) < 0.6
    >>> for season in range(1, 5):
    ...     chance = np.where(occupied[:, season - 1], 0.8, 0.2)
    ...     occupied[:, season] = rng.random(200) < chance
    >>> heard = occupied[:, :, None] & (rng.random((200, 5, 3)) < 0.6)
    >>> fit = fit_dynamic(heard)
    >>> gain = dynamic_chance(fit, "colonization")
    >>> bool(gain.low < 0.2 < gain.high)
    True
    """
    contrast = at_mean_covariates(fit.parts, part)
    return line_estimate(fit.fitted, contrast, name=part, level=level, link="logit")


def seasonal_occupancy(fit: DynamicFit, *, level: float = 0.95) -> tuple[Estimate, ...]:
    """Mean occupancy of each season, over all sites.

    Parameters
    ----------
    fit
        A fitted model.
    level
        Confidence level of the intervals.

    Returns
    -------
    tuple of Estimate
        Shares from 0 to 1 by season, with intervals by the delta method on the logit scale.

    Examples
    --------
    >>> import numpy as np
    >>> rng = np.random.default_rng(1)
    >>> occupied = np.empty((200, 5), dtype=bool)
    >>> occupied[:, 0] = rng.random(200) < 0.6
    >>> for season in range(1, 5):
    ...     chance = np.where(occupied[:, season - 1], 0.8, 0.2)
    ...     occupied[:, season] = rng.random(200) < chance
    >>> heard = occupied[:, :, None] & (rng.random((200, 5, 3)) < 0.6)
    >>> fit = fit_dynamic(heard)
    >>> shares = seasonal_occupancy(fit)
    >>> len(shares), bool(shares[0].low < 0.6 < shares[0].high)
    (5, True)
    """
    return tuple(
        derived_share(
            fit.fitted,
            partial(_share, fit, season),
            name=f"occupancy, season {season + 1}",
            level=level,
        )
        for season in range(fit.seasons)
    )


def equilibrium_occupancy(fit: DynamicFit, *, level: float = 0.95) -> Estimate:
    """Share to which occupancy tends: colonization / (colonization + extinction).

    Parameters
    ----------
    fit
        A fitted model.
    level
        Confidence level of the interval.

    Returns
    -------
    Estimate
        A share from 0 to 1 at the mean of the covariates, with an interval by the delta method.

    Examples
    --------
    >>> import numpy as np
    >>> rng = np.random.default_rng(1)
    >>> occupied = np.empty((200, 5), dtype=bool)
    >>> occupied[:, 0] = rng.random(200) < 0.6
    >>> for season in range(1, 5):
    ...     chance = np.where(occupied[:, season - 1], 0.8, 0.2)
    ...     occupied[:, season] = rng.random(200) < chance
    >>> heard = occupied[:, :, None] & (rng.random((200, 5, 3)) < 0.6)
    >>> fit = fit_dynamic(heard)
    >>> share = equilibrium_occupancy(fit)
    >>> bool(share.low < 0.5 < share.high)
    True
    """
    to_gain = at_mean_covariates(fit.parts, "colonization")
    to_loss = at_mean_covariates(fit.parts, "extinction")

    def share(theta: FloatArray) -> tuple[float, FloatArray]:
        gain, loss = float(expit(to_gain @ theta)), float(expit(to_loss @ theta))
        gradient = gain * loss * ((1 - gain) * to_gain - (1 - loss) * to_loss) / (gain + loss) ** 2
        return gain / (gain + loss), gradient

    return derived_share(fit.fitted, share, name="occupancy at equilibrium", level=level)


def grid_design(shape: tuple[int, ...], covariates: Covariates | None) -> Design:
    """Intercept and covariates over ``shape``; a covariate may leave out trailing axes."""
    columns = [np.ones(shape)]
    for name, values in (covariates or {}).items():
        array = np.asarray(values, dtype=np.float64)
        if array.shape not in [shape[:n] for n in range(1, len(shape) + 1)]:
            raise ValueError(f"{name}: expected shape {shape} or its start, got {array.shape}")
        wide = array.reshape(array.shape + (1,) * (len(shape) - array.ndim))
        columns.append(np.broadcast_to(wide, shape))
    return Design(names=(INTERCEPT, *(covariates or {})), matrix=np.stack(columns, axis=-1))


def _share(fit: DynamicFit, season: int, raw: FloatArray) -> tuple[float, FloatArray]:
    """Occupancy of a season at coefficients in the units of the covariates."""
    to_scaled = np.linalg.inv(fit.fitted.back)
    shares, slopes = yearly_shares(fit.cells, to_scaled @ raw)
    return float(shares[season]), slopes[season] @ to_scaled


def _detection_design(shape: tuple[int, int, int], covariates: Covariates | None) -> Design:
    by_visit = any(np.ndim(values) == 3 for values in (covariates or {}).values())
    return grid_design(shape if by_visit else shape[:2], covariates)


def _without_unknown_visits(
    history: FloatArray, detection: Design
) -> tuple[FloatArray, tuple[str, ...]]:
    unknown = np.asarray(np.isnan(detection.matrix).any(axis=-1))
    unknown = unknown if unknown.ndim == 3 else unknown[:, :, None]
    complete = np.where(unknown, np.nan, history)
    incomplete = bool((np.isnan(complete) & ~np.isnan(history)).any())
    return complete, (estimates.COVARIATE_MISSING,) if incomplete else ()


def _data_flags(history: FloatArray, seasons: int) -> tuple[str, ...]:
    if not len(history):
        return (estimates.NO_EFFORT,)
    flags = []
    if not np.nansum(history):
        flags.append(estimates.NEVER_HEARD)
    if seasons < 2:
        flags.append(estimates.TOO_FEW_DATA)
    if (~np.isnan(history)).sum(axis=2).max() < 2:
        flags.append(estimates.NO_REPEAT_VISITS)
    return tuple(flags)


def _fit(
    cells: DynamicCells,
    starts: list[FloatArray],
    back: FloatArray,
    names: tuple[str, ...],
    flags: tuple[str, ...],
) -> ModelFit:
    def predictors(theta: FloatArray) -> FloatArray:
        first, gain, loss, heard = cells.split(theta)
        return np.concatenate(
            [
                (cells.initial @ first).ravel(),
                (cells.colonization @ gain).ravel(),
                (cells.extinction @ loss).ravel(),
                (cells.detection @ heard)[cells.trials > 0],
            ]
        )

    return fit_model(
        objective(cells),
        _best_starts(cells, starts),
        method=METHOD,
        names=names,
        rows=len(cells.group),
        back=back,
        predictors=predictors,
        flags=flags,
    )


def _best_starts(cells: DynamicCells, starts: list[FloatArray]) -> list[FloatArray]:
    """Of many cells, the end that the best of the starts leads to on a part of them."""
    step = len(cells.weight) // _MANY
    if step < 2:
        return starts
    goal = objective(every_nth(cells, step))
    ends = [maximize(goal, start) for start in starts]
    return [max(ends, key=lambda end: end.value).theta]


def _starts(history: FloatArray, parts: Mapping[Part, Design]) -> list[FloatArray]:
    """Intercepts near the naive shares, with slow and fast turnover, and as if most frogs were
    missed; slopes zero."""
    listened = ~np.isnan(history)
    heard = np.nansum(history, axis=2) > 0
    share = np.clip(heard.sum() / max(listened.any(axis=2).sum(), 1), 0.1, 0.9)
    rate = np.clip(np.nansum(history) / max(listened[heard].sum(), 1), 0.1, 0.9)
    starts = []
    for turnover, missed in ((0.1, 1.0), (0.4, 1.0), (0.2, 0.4)):
        present = 1 - (1 - share) * missed
        levels = {
            "initial occupancy": present,
            "colonization": turnover * present,
            "extinction": turnover * (1 - present),
            "detection": rate * missed,
        }
        start = [
            np.r_[float(logit(levels[part])), np.zeros(len(design.names) - 1)]
            for part, design in parts.items()
        ]
        starts.append(np.concatenate(start))
    return starts
