"""Call index as ordered states (Royle 2004; Royle & Link 2005).

Corrects the distribution of the call index for nights on which fewer animals called than the site
holds: the highest index of the season is latent, and a visit may hear less, never more.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import ArrayLike

from surveys.trends import estimates
from surveys.trends.estimates import Estimate, merge_flags, not_estimable
from surveys.trends.models.call_index_likelihood import (
    IndexCells,
    all_thresholds,
    cell_scores,
    hessian,
    index_cells,
    observation_table,
    state_shares,
    threshold_slices,
    value_gradient,
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
from surveys.trends.numerics.arrays import AnyArray, FloatArray, IntArray, codes_of, float_array
from surveys.trends.numerics.design import (
    Design,
    drop_incomplete,
    factor_design,
    join,
    site_design,
    standardized,
    visit_design,
)
from surveys.trends.numerics.intervals import transform
from surveys.trends.numerics.optimize import FARTHEST, Objective
from surveys.trends.numerics.ordinal import free_of

METHOD = "ordered-call-index"
HIGHEST = 3
LOG_STEP = "log step"
# A step of 30 between thresholds leaves nothing to the classes above.
_LARGEST_LOG_STEP = float(np.log(30.0))


@dataclass(frozen=True, kw_only=True, repr=False)
class IndexFit(HoldsModelFit):
    """A fitted call-index model. ``groups`` are the labels, such as season years, whose states
    differ; ``group`` (rows,) is the group of each row used. Thresholds are at mean covariates.
    ``top`` is the highest index ever heard: states above it cannot be told from it, and are left
    out of the model."""

    fitted: ModelFit
    cells: IndexCells
    top: int
    groups: AnyArray
    group: IntArray


@dataclass(frozen=True, kw_only=True)
class IndexSummary:
    """Latent call index of one group: share of sites in each state 0 to 3, the expected index
    (descriptive: the classes are ordered, not amounts), and the share with full chorus."""

    states: tuple[Estimate, ...]
    expected_index: Estimate
    full_chorus: Estimate


def fit_call_index(
    index: ArrayLike,
    *,
    groups: ArrayLike | None = None,
    state: Mapping[str, ArrayLike] | None = None,
    detection: Mapping[str, ArrayLike] | None = None,
    clusters: ArrayLike | None = None,
) -> IndexFit:
    """Fit the call index as ordered states, by maximum likelihood.

    Parameters
    ----------
    index
        (rows, visits) of 0 to 3, NaN for a visit that did not happen.
    groups
        (rows,) labels, such as season years, whose latent index may differ.
    state
        Covariates of the latent index by name, (rows,), on the cumulative logit scale.
    detection
        Covariates of the index heard by name, (rows,) or (rows, visits), on the same scale: more
        means a higher index.
    clusters
        (rows,) labels of rows that belong together; asks for clustered standard errors.

    Returns
    -------
    IndexFit
        With flags in place of numbers where the data carry none.

    Raises
    ------
    ValueError
        For arrays of the wrong shape, or values other than 0, 1, 2, 3 and NaN.

    References
    ----------
    Royle 2004, Conservation Biology 18:1378-1385; Royle & Link 2005, Ecology 86:2505-2512.

    Examples
    --------
    >>> import numpy as np
    >>> rng = np.random.default_rng(1)
    >>> highest = rng.choice(4, size=200, p=[0.3, 0.2, 0.3, 0.2])
    >>> index = np.minimum(highest[:, None], rng.choice(4, size=(200, 3), p=[0.1, 0.2, 0.3, 0.4]))
    >>> year = np.repeat([2023, 2024], 100)
    >>> fit = fit_call_index(index, groups=year)
    >>> fit.groups.tolist(), fit.top
    ([2023, 2024], 3)
    """
    heard = float_array(index, name="index", ndim=2)
    if not np.isin(heard[~np.isnan(heard)], np.arange(HIGHEST + 1)).all():
        raise ValueError("index: expected 0, 1, 2, 3 or NaN")
    rows, visits = heard.shape
    labels, codes = codes_of(
        np.zeros(rows, dtype=np.int64) if groups is None else groups, name="groups", length=rows
    )
    by_row, by_visit = site_design(rows, state), visit_design(rows, visits, detection)
    heard, kept, incomplete = drop_incomplete(heard, by_row, by_visit)
    levels, codes = np.unique(codes[kept], return_inverse=True)
    by_row = join(
        by_row.select(kept),
        factor_design(codes, levels=np.arange(1, len(levels)), prefix="group "),
    )
    by_visit = by_visit.select(kept)
    flags = ((estimates.COVARIATE_MISSING,) if incomplete else ()) + index_flags(heard)
    top = int(np.nanmax(heard, initial=1.0))
    row_matrix, row_back = standardized(by_row)
    visit_matrix, visit_back = standardized(by_visit)
    cells = index_cells(heard, row_matrix[..., 1:], visit_matrix[..., 1:], top=top)
    names = _names(by_row, by_visit, labels[levels], top)
    if {estimates.NO_EFFORT, estimates.NEVER_HEARD, estimates.NO_REPEAT_VISITS} & set(flags):
        fitted = unfitted(method=METHOD, names=names, rows=len(heard), flags=flags)
    else:
        scale = np.concatenate(
            [np.ones(cells.thresholds), np.diag(row_back)[1:], np.diag(visit_back)[1:]]
        )
        coefficients = len(names) - cells.thresholds
        fitted = _fit(cells, index_starts(heard, top, coefficients), scale, names, flags)
    fitted = clustered_by(
        fitted, clusters, kept, lambda theta: cell_scores(cells, theta)[1][cells.group]
    )
    return IndexFit(
        fitted=fitted,
        cells=cells,
        top=top,
        groups=labels[levels],
        group=codes.astype(np.int64),
    )


def summarize_groups(
    fit: IndexFit, *, level: float = 0.95
) -> tuple[tuple[object, IndexSummary], ...]:
    """The latent call index of every group, at the covariates of its own rows.

    Parameters
    ----------
    fit
        A fitted model.
    level
        Confidence level of the intervals.

    Returns
    -------
    tuple of (label, IndexSummary)
        In the order of ``fit.groups``.

    Examples
    --------
    >>> import numpy as np
    >>> rng = np.random.default_rng(1)
    >>> highest = rng.choice(4, size=200, p=[0.3, 0.2, 0.3, 0.2])
    >>> index = np.minimum(highest[:, None], rng.choice(4, size=(200, 3), p=[0.1, 0.2, 0.3, 0.4]))
    >>> year = np.repeat([2023, 2024], 100)
    >>> fit = fit_call_index(index, groups=year)
    >>> [(label, bool(summary.full_chorus.low < 0.2 < summary.full_chorus.high))
    ...  for label, summary in summarize_groups(fit)]
    [(2023, True), (2024, True)]
    """
    return tuple(
        (label, _summary(fit, code, str(label), level))
        for code, label in enumerate(fit.groups.tolist())
    )


def index_odds_ratio(fit: IndexFit, name: str, *, level: float = 0.95) -> Estimate:
    """The ratio of cumulative odds for one unit of a covariate, or for one group to the first.

    Parameters
    ----------
    fit
        A fitted model.
    name
        Name of a coefficient, such as ``state: fish`` or ``state: 2024``.
    level
        Confidence level of the interval.

    Returns
    -------
    Estimate
        Above 1 for a higher index.

    Raises
    ------
    ValueError
        For an unknown name.

    Examples
    --------
    >>> import numpy as np
    >>> rng = np.random.default_rng(1)
    >>> highest = rng.choice(4, size=200, p=[0.3, 0.2, 0.3, 0.2])
    >>> index = np.minimum(highest[:, None], rng.choice(4, size=(200, 3), p=[0.1, 0.2, 0.3, 0.4]))
    >>> year = np.repeat([2023, 2024], 100)
    >>> fit = fit_call_index(index, groups=year)
    >>> ratio = index_odds_ratio(fit, "state: 2024")
    >>> bool(ratio.low < 1 < ratio.high)
    True
    """
    known = [key for key in fit.fitted.names if "threshold" not in key and LOG_STEP not in key]
    if name not in known:
        raise ValueError(f"name: expected one of {', '.join(known)}")
    contrast = (np.array(fit.fitted.names) == name).astype(np.float64)
    return line_estimate(
        fit.fitted, contrast, name=f"odds ratio of a higher index, {name}", level=level, link="log"
    )


def heard_given_state(fit: IndexFit) -> FloatArray | None:
    """Chance of hearing each index at each latent state, at mean covariates.

    Parameters
    ----------
    fit
        A fitted model.

    Returns
    -------
    array (top + 1, top + 1) or None
        Rows are latent states, columns indices heard; None when nothing could be fitted.

    Examples
    --------
    >>> import numpy as np
    >>> rng = np.random.default_rng(1)
    >>> highest = rng.choice(4, size=200, p=[0.3, 0.2, 0.3, 0.2])
    >>> index = np.minimum(highest[:, None], rng.choice(4, size=(200, 3), p=[0.1, 0.2, 0.3, 0.4]))
    >>> year = np.repeat([2023, 2024], 100)
    >>> fit = fit_call_index(index, groups=year)
    >>> heard_given_state(fit).sum(axis=1).round(6).tolist()
    [1.0, 1.0, 1.0, 1.0]
    """
    if fit.fitted.maximum is None:
        return None
    return observation_table(fit.fitted.maximum.theta, top=fit.top)


def _names(by_row: Design, by_visit: Design, groups: AnyArray, top: int) -> tuple[str, ...]:
    covariates = len(by_row.names) - len(groups[1:])
    ordered = ["state", *(f"index at state {z}" for z in range(1, top + 1))]
    widths = [top, *range(1, top + 1)]
    return (
        *(
            f"{part}: first threshold" if k == 1 else f"{part}: {LOG_STEP} to {k}"
            for part, width in zip(ordered, widths, strict=True)
            for k in range(1, width + 1)
        ),
        *(f"state: {name}" for name in by_row.names[1:covariates]),
        *(f"state: {label}" for label in groups[1:].tolist()),
        *(f"detection: {name}" for name in by_visit.names[1:]),
    )


def index_flags(heard: FloatArray) -> tuple[str, ...]:
    """What call indices (rows, visits) cannot carry."""
    if not len(heard):
        return (estimates.NO_EFFORT, estimates.TOO_FEW_DATA)
    if not np.nansum(heard):
        return (estimates.NEVER_HEARD, estimates.TOO_FEW_DATA)
    if (~np.isnan(heard)).sum(axis=1).max() < 2:
        return (estimates.NO_REPEAT_VISITS, estimates.NOT_IDENTIFIED)
    return ()


def _fit(
    cells: IndexCells,
    starts: list[FloatArray],
    scale: FloatArray,
    names: tuple[str, ...],
    flags: tuple[str, ...],
) -> ModelFit:
    first = cells.thresholds
    middle = first + cells.state.shape[1]

    def predictors(theta: FloatArray) -> FloatArray:
        return np.concatenate(
            [
                all_thresholds(cells, theta),
                cells.state @ theta[first:middle],
                (cells.detection @ theta[middle:]).ravel(),
            ]
        )

    return fit_model(
        Objective(
            value_gradient=value_gradient(cells),
            hessian=lambda theta: hessian(cells, theta),
            # Short steps by updates stay on the hill of the start, where Newton's leave it.
            costly=True,
            upper=step_limits(cells, len(names)),
        ),
        starts,
        method=METHOD,
        names=names,
        rows=len(cells.group),
        back=np.diag(scale),
        predictors=predictors,
        flags=flags,
    )


def step_limits(cells: IndexCells, size: int) -> FloatArray:
    """Upper ends of the search over ``size`` parameters: steps between thresholds are logs."""
    upper = np.full(size, FARTHEST)
    for part in threshold_slices(cells.top):
        upper[part.start + 1 : part.stop] = _LARGEST_LOG_STEP
    return upper


def index_starts(heard: FloatArray, top: int, coefficients: int) -> list[FloatArray]:
    """States as the highest index heard; visits that mostly hear it, and that mostly miss it."""
    highest = np.nanmax(heard, axis=1)
    states = free_of(np.array([(highest == k).sum() + 1.0 for k in range(top + 1)]))
    starts = []
    for mostly in (np.r_[np.ones(top), float(top + 1)], np.arange(top + 1, 0, -1.0)):
        seen = [free_of(mostly[-z - 1 :]) for z in range(1, top + 1)]
        free = np.concatenate([states, *seen])
        starts.append(np.concatenate([free, np.zeros(coefficients)]))
    return starts


def _summary(fit: IndexFit, code: int, label: str, level: float) -> IndexSummary:
    latest: list[tuple[FloatArray, tuple[FloatArray, FloatArray]]] = []

    def shares(raw: FloatArray) -> tuple[FloatArray, FloatArray]:
        # All are read at the same coefficients.
        if not latest or latest[0][0] is not raw:
            latest[:] = [(raw, _state_shares(fit, code, raw))]
        return latest[0][1]

    def mixture(weights: FloatArray, raw: FloatArray) -> tuple[float, FloatArray]:
        of_states, gradient = shares(raw)
        return float(weights @ of_states), weights @ gradient

    def read(weights: FloatArray, name: str) -> Estimate:
        return derived_share(
            fit.fitted,
            partial(mixture, weights),
            name=f"{name}, {label}",
            level=level,
        )

    def share(state: int, name: str) -> Estimate:
        if state > fit.top:
            flags = merge_flags(fit.fitted.flags, (estimates.INDEX_NEVER_HEARD,))
            return not_estimable(f"{name}, {label}", method=METHOD, flags=flags, level=level)
        return read(np.eye(fit.top + 1)[state], name)

    # The expected index is made as a share of the highest, so that its interval stays in range.
    expected = transform(
        read(np.arange(fit.top + 1) / HIGHEST, "expected call index"),
        lambda part: HIGHEST * part,
        name=f"expected call index, {label}",
    )
    return IndexSummary(
        states=tuple(share(k, f"share of sites in state {k}") for k in range(HIGHEST + 1)),
        expected_index=expected,
        full_chorus=share(HIGHEST, "share of sites with full chorus"),
    )


def _state_shares(fit: IndexFit, code: int, raw: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Chances of the states in one group (S,) and their slope (S, K), at coefficients in their own
    units."""
    rows = np.bincount(fit.cells.group[fit.group == code], minlength=len(fit.cells.weight))
    scale = np.diag(fit.fitted.back)
    shares, gradient = state_shares(fit.cells, raw / scale, rows.astype(np.float64))
    return shares, gradient / scale
