"""Level of the share of sites with full chorus in each season year, within routes.

The first stage of the trend of the call index. The highest index of a site in a season is latent,
an ordered class by cumulative logits, and a visit hears no more (Royle 2004, Conservation Biology
18:1378-1385; Royle & Link 2005, Ecology 86:2505-2512). One shift a year moves all classes together
(proportional odds, McCullagh 1980, Journal of the Royal Statistical Society B 42:109-142), so the
change of the odds of full chorus is that of the odds of any higher index. The column of route means
and the weak prior on years are those of ``year_levels``.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike

from surveys.trends import estimates
from surveys.trends.estimates import merge_flags
from surveys.trends.models.call_index import HIGHEST, index_flags, index_starts, step_limits
from surveys.trends.models.call_index_likelihood import (
    IndexCells,
    cell_scores,
    hessian,
    index_cells,
    threshold_slices,
)
from surveys.trends.models.year_levels import PRIOR_SD_OCCUPANCY, YearLevels, site_columns
from surveys.trends.numerics.arrays import FloatArray, IntArray, codes_of, float_array
from surveys.trends.numerics.design import factor_design, join, site_design
from surveys.trends.numerics.grouping import group_rows
from surveys.trends.numerics.optimize import (
    Maximum,
    Objective,
    ValueGradient,
    identified,
    maximize,
)
from surveys.trends.numerics.ordinal import class_chances, thresholds_of
from surveys.trends.numerics.sandwich import cluster_scores, sandwich_covariance

# A weak normal prior on how far thresholds lie apart (as logs), and on how often a visit hears
# less than the highest index (as a logit): classes that the data do not tell apart stay finite.
# Common practice, no source; the calibration holds with it.
PRIOR_SD_SPACING = 3.0
# A chance of exp of this is none; infinity times no visit would be no number.
_LOWEST = -700.0


def fit_chorus_levels(
    index: ArrayLike, season_years: ArrayLike, routes: ArrayLike, *, sites: ArrayLike | None = None
) -> YearLevels:
    """Fit a level of full chorus for every season year.

    Parameters
    ----------
    index : (rows, visits)
        Call index 0 to 3, NaN for no visit; one row a site and season.
    season_years, routes : (rows,)
        The season year of each row, and the route it belongs to.
    sites : (rows,), optional
        The site of each row; each row is one of its own without it.

    Returns
    -------
    YearLevels
        ``levels`` are the logits of the share with full chorus; sites, routes and seasons "heard"
        are those with full chorus. With flags instead of numbers where the data carry none.

    Raises
    ------
    ValueError
        Where arrays do not fit each other, or an index is none.

    Examples
    --------
    >>> rng = np.random.default_rng(1)
    >>> highest = rng.choice(4, size=600, p=[0.3, 0.2, 0.3, 0.2])
    >>> index = np.minimum(highest[:, None], rng.choice(4, size=(600, 3), p=[0.1, 0.2, 0.3, 0.4]))
    >>> levels = fit_chorus_levels(index, np.repeat(range(2015, 2021), 100), np.arange(600) % 20)
    >>> share = 1 / (1 + np.exp(-levels.levels))
    >>> bool(abs(share.mean() - 0.2) < 0.05)
    True
    """
    heard = float_array(index, name="index", ndim=2)
    if not np.isin(heard[~np.isnan(heard)], np.arange(HIGHEST + 1)).all():
        raise ValueError("index: expected 0, 1, 2, 3 or NaN")
    rows = len(heard)
    all_years = codes_of(np.asarray(season_years), name="season_years", length=rows)
    route = codes_of(np.asarray(routes), name="routes", length=rows)[1]
    site = codes_of(
        np.arange(rows) if sites is None else np.asarray(sites), name="sites", length=rows
    )[1]
    kept = ~np.isnan(heard).all(axis=1)
    heard, year = heard[kept], all_years[0][all_years[1]][kept].astype(np.int64)
    years, route, site = np.unique(year), np.unique(route[kept], return_inverse=True)[1], site[kept]
    full = np.nanmax(heard, axis=1, initial=0.0) == HIGHEST
    columns, within = site_columns(site_design(len(heard), None), year, route, within_routes=True)
    flags = index_flags(heard)
    if len(heard) and not full.any():
        flags = merge_flags(flags, (estimates.INDEX_NEVER_HEARD,))
    levels = YearLevels(
        years=years,
        levels=np.full(len(years), np.nan),
        covariance=None,
        information=np.full(len(years), np.nan),
        offsets=np.zeros(len(heard)),
        part=1.0,
        routes=len(np.unique(route)),
        routes_heard=len(np.unique(route[full])),
        sites_heard=len(np.unique(site[full])),
        seasons_heard=int(full.sum()),
        within_routes=within,
        flags=flags,
    )
    if estimates.NOT_IDENTIFIED in flags or not full.any():
        return levels
    shifts = join(factor_design(year, levels=years[1:], prefix="year "), columns)
    cells = index_cells(heard, shifts.matrix, np.zeros((len(heard), 0)), top=HIGHEST)
    return _search(levels, cells, index_starts(heard, HIGHEST, shifts.matrix.shape[1]), route)


def _search(
    levels: YearLevels, cells: IndexCells, starts: list[FloatArray], route: IntArray
) -> YearLevels:
    first, later = cells.thresholds, len(levels.years) - 1
    deviation = np.eye(later + 1) - 1.0 / (later + 1)
    penalty = np.zeros((len(starts[0]), len(starts[0])))
    of_years = slice(first, first + later)
    penalty[of_years, of_years] = deviation[1:, 1:] / PRIOR_SD_OCCUPANCY**2
    # All but the first threshold of the state, which is how often the species is there at all.
    spacing = np.arange(1, first)
    penalty[spacing, spacing] = PRIOR_SD_SPACING**-2
    gradient = _penalized(crossed_gradient(cells), penalty)
    objective = Objective(
        value_gradient=gradient,
        hessian=lambda theta: hessian(cells, theta) - penalty,
        costly=True,
        upper=step_limits(cells, len(starts[0])),
    )
    maximum = maximize(objective, starts[0])
    for start in starts[1:]:
        if not maximum.converged:
            maximum = max(maximum, maximize(objective, start), key=lambda one: one.value)
    jacobian, values = _of_full_chorus(maximum.theta, first, later)
    levels = replace(
        levels,
        levels=values,
        offsets=(cells.state[:, later:] @ maximum.theta[first + later :])[cells.group],
        flags=levels.flags if maximum.converged else (*levels.flags, estimates.DID_NOT_CONVERGE),
    )
    known = identified(maximum)
    if not known[jacobian.any(axis=0)].all():
        return replace(levels, flags=merge_flags(levels.flags, (estimates.NOT_IDENTIFIED,)))
    if levels.routes < 2:
        return replace(levels, flags=merge_flags(levels.flags, (estimates.FEW_CLUSTERS,)))
    return _with_errors(levels, cells, maximum, jacobian[:, known], route)


def _with_errors(
    levels: YearLevels,
    cells: IndexCells,
    maximum: Maximum,
    jacobian: FloatArray,
    route: IntArray,
) -> YearLevels:
    known = identified(maximum)
    information = -maximum.hessian[np.ix_(known, known)]
    scores = cell_scores(cells, maximum.theta)[1][:, known]
    # Cells are far fewer than rows: how many rows of each cell a route has is all that counts.
    cell_count = len(scores)
    pairs, rows = np.unique(route * cell_count + cells.group, return_counts=True)
    of_pairs = scores[pairs % cell_count] * rows[:, None]
    by_route = sandwich_covariance(information, cluster_scores(of_pairs, pairs // cell_count))
    by_model = jacobian @ np.linalg.inv(information) @ jacobian.T
    return replace(
        levels,
        covariance=jacobian @ by_route @ jacobian.T,
        model_covariance=by_model,
        information=1 / np.diag(by_model),
    )


def _of_full_chorus(theta: FloatArray, first: int, later: int) -> tuple[FloatArray, FloatArray]:
    """Logit of the share with full chorus in each year, with its Jacobian (T, K)."""
    thresholds, by_free = thresholds_of(theta[:HIGHEST])
    jacobian = np.zeros((later + 1, len(theta)))
    jacobian[:, :HIGHEST] = -by_free[-1]
    jacobian[1:, first : first + later] = np.eye(later)
    return jacobian, np.r_[0.0, theta[first : first + later]] - thresholds[-1]


def crossed_gradient(cells: IndexCells) -> ValueGradient:
    """Log-likelihood and gradient of cells without covariates of detection.

    The same as ``call_index_likelihood.value_gradient``. The chances of the classes are worked out
    once for every distinct state and for every distinct set of indices heard, of which there are
    far fewer than cells.
    """
    top, counts = cells.top, cells.counts[:, 0, :]
    first_state, of_state = group_rows(cells.state)
    first_heard, of_heard = group_rows(counts)
    state, heard = cells.state[first_state], counts[first_heard]
    possible = np.cumsum(heard[:, ::-1], axis=1)[:, ::-1]
    # A site of state z is heard at no index above z.
    impossible = np.column_stack([possible[:, 1:], np.zeros(len(heard))]) > 0
    by_state, *by_heard = threshold_slices(top)

    def evaluate(theta: FloatArray) -> tuple[float, FloatArray]:
        thresholds, jacobian = thresholds_of(theta[by_state])
        states = class_chances(thresholds, state @ theta[cells.thresholds :])
        seen = [thresholds_of(theta[part]) for part in by_heard]
        chances = [class_chances(own, np.zeros(1)) for own, _ in seen]
        logs = np.zeros((len(heard), top + 1))
        for z, one in enumerate(chances, start=1):
            logs[:, z] = heard[:, : z + 1] @ np.maximum(one.log[0], _LOWEST)
        logs[impossible] = -np.inf
        highest = logs.max(axis=1)
        joint = np.exp(states.log)[of_state] * np.exp(logs - highest[:, None])[of_heard]
        likelihood = joint.sum(axis=1)
        if not likelihood.all():
            # Thresholds ran together and left a cell impossible: no place to go.
            return -np.inf, np.zeros(len(theta))
        posterior = joint * (cells.weight / likelihood)[:, None]

        gradient = np.zeros(len(theta))
        at_states = _summed(posterior, of_state, len(state))
        gradient[by_state] = np.einsum("sz,szk->k", at_states, states.by_threshold) @ jacobian
        gradient[cells.thresholds :] = (at_states * states.by_shift).sum(axis=1) @ state
        at_heard = _summed(posterior, of_heard, len(heard))
        for z, (part, (_, steps), one) in enumerate(
            zip(by_heard, seen, chances, strict=True), start=1
        ):
            times = at_heard[:, z] @ heard[:, : z + 1]
            gradient[part] = times @ one.by_threshold[0] @ steps
        value = np.log(likelihood) + highest[of_heard]
        return float(cells.weight @ value), gradient

    return evaluate


def _summed(values: FloatArray, group: IntArray, groups: int) -> FloatArray:
    columns = [np.bincount(group, weights=column, minlength=groups) for column in values.T]
    return np.column_stack(columns)


def _penalized(likelihood: ValueGradient, penalty: FloatArray) -> ValueGradient:
    def evaluate(theta: FloatArray) -> tuple[float, FloatArray]:
        value, gradient = likelihood(theta)
        pull = penalty @ theta
        return value - 0.5 * float(theta @ pull), gradient - pull

    return evaluate
