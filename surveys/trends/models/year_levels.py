"""Level of occupancy in each season year, within routes: the first stage of a trend over years.

Every year has its own level on the logit scale (MacKenzie et al. 2006, Occupancy Estimation and
Modeling, ch. 7, "implicit dynamics"). A column with the mean season year of each route's own effort
(Mundlak 1978, Econometrica 46:69-85) takes up that routes which were run early may be better or
worse sites than those which were run late, so that the levels follow the change within routes.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import expit

from surveys.trends import estimates
from surveys.trends.estimates import merge_flags
from surveys.trends.models.level_models import LevelLikelihood, LevelModel, equal_detection
from surveys.trends.models.occupancy import check_histories, history_flags
from surveys.trends.numerics.arrays import BoolArray, FloatArray, IntArray, codes_of
from surveys.trends.numerics.design import (
    INTERCEPT,
    Design,
    blocks,
    drop_incomplete,
    factor_design,
    join,
    site_design,
    visit_design,
)
from surveys.trends.numerics.optimize import Objective, identified, maximize
from surveys.trends.numerics.sandwich import cluster_scores, sandwich_covariance

ROUTE_MEAN_YEAR = "mean season year of the route"
# A weak normal prior on what sets one year apart from the others keeps the level of a year in which
# the species was not heard finite. Standard deviations on the logit scale; chosen by simulation.
PRIOR_SD_OCCUPANCY = 3.0
PRIOR_SD_DETECTION = 1.0
_STEP = 1e-9
# A mean share nearer to 0 or 1 than this that the data cannot hold is at the end of the range.
_EDGE = 1e-3


@dataclass(frozen=True, kw_only=True)
class YearLevels:
    """Occupancy of each season year on the logit scale, at the mean of all covariates.

    ``years`` (T,) are the season years with effort; ``levels`` (T,) and ``covariance`` (T, T) are
    on the logit scale, the covariance clustered by route and None where there is none;
    ``information`` (T,) is the diagonal of the information of the levels, ``model_covariance``
    (T, T) their covariance where rows are taken as independent. ``offsets`` (rows,) are what the
    covariates of each row add to the level, ``part`` the share of the rows that the model holds
    possible for the species. ``routes`` counts clusters, ``routes_heard``, ``sites_heard`` and
    ``seasons_heard`` those clusters, sites and rows with a detection. ``within_routes`` says
    whether the column of route means was needed.
    """

    years: IntArray
    levels: FloatArray
    covariance: FloatArray | None
    information: FloatArray
    offsets: FloatArray
    part: float
    routes: int
    routes_heard: int
    sites_heard: int
    seasons_heard: int
    within_routes: bool
    flags: tuple[str, ...]
    model_covariance: FloatArray | None = None


def fit_year_levels(
    detections: ArrayLike,
    season_years: ArrayLike,
    routes: ArrayLike,
    *,
    occupancy: Mapping[str, ArrayLike] | None = None,
    detection: Mapping[str, ArrayLike] | None = None,
    detection_by_year: bool = False,
    empty: ArrayLike | None = None,
    sites: ArrayLike | None = None,
    within_routes: bool = True,
    model: LevelModel = equal_detection,
) -> YearLevels:
    """Fit a level of occupancy for every season year.

    Parameters
    ----------
    detections : (rows, visits)
        1 heard, 0 not heard, NaN no visit; one row a site and season.
    season_years, routes : (rows,)
        The season year of each row, and the route it belongs to: rows of one route are not
        independent.
    occupancy, detection
        Covariates by name, (rows,) for occupancy, (rows,) or (rows, visits) for detection.
    detection_by_year
        Whether the chance of detection has a level of its own in each year.
    empty : (rows,), optional
        Marks rows at which the species cannot be; they leave the search and count in ``part``.
    sites : (rows,), optional
        The site of each row, to count sites where the species was heard; each row is one of its own
        without it.
    within_routes
        Whether the mean season year of each route is held, so that the levels follow the change
        within routes. Without it, the pooled change.
    model
        What detection is like beside its covariates: equal between sites, or one of the other forms
        of ``level_models``.

    Returns
    -------
    YearLevels
        With flags instead of numbers where the data carry none.

    Raises
    ------
    ValueError
        Where arrays do not fit each other.

    Examples
    --------
    >>> import numpy as np
    >>> heard = np.tile([[1, 1, 0], [0, 1, 1], [0, 0, 0], [1, 0, 1]], (6, 1))
    >>> year = np.repeat(np.arange(2015, 2021), 4)
    >>> levels = fit_year_levels(heard, year, np.tile([1, 2, 3, 4], 6))
    >>> levels.years.tolist()
    [2015, 2016, 2017, 2018, 2019, 2020]
    >>> bool(np.ptp(levels.levels) < 1e-6)
    True
    """
    history = check_histories(detections)
    rows, visits = history.shape
    year = np.asarray(season_years)
    if year.shape != (rows,) or not np.issubdtype(year.dtype, np.integer):
        raise ValueError(f"season_years: expected {rows} whole years, one a row")
    route = codes_of(np.asarray(routes), name="routes", length=rows)[1]
    site = codes_of(
        np.arange(rows) if sites is None else np.asarray(sites), name="sites", length=rows
    )[1]
    psi_covariates = site_design(rows, occupancy)
    p = visit_design(rows, visits, detection)
    possible = np.ones(rows, dtype=np.bool_) if empty is None else ~np.asarray(empty, np.bool_)
    if possible.shape != (rows,) or np.nansum(history[~possible]) > 0:
        raise ValueError("empty: expected one mark a row, none where the species was heard")
    listened = np.asarray(~np.isnan(history).all(axis=1))
    part = float((listened & possible).sum() / max(listened.sum(), 1))

    keep = possible & listened
    history, kept, lost = drop_incomplete(
        history[keep], _rows(psi_covariates, keep), _rows(p, keep)
    )
    at = np.flatnonzero(keep)[kept]
    flags = merge_flags((estimates.COVARIATE_MISSING,) if lost else (), history_flags(history))
    years = np.unique(year[at]).astype(np.int64)
    columns, within = site_columns(
        _rows(psi_covariates, at), year[at], route[at], within_routes=within_routes
    )
    psi = join(factor_design(year[at], levels=years, prefix="year "), columns)
    p = _detection(_rows(p, at), year[at], years, history, by_year=detection_by_year)
    heard = np.nansum(history, axis=1) > 0
    levels = YearLevels(
        years=years,
        levels=np.full(len(years), np.nan),
        covariance=None,
        information=np.full(len(years), np.nan),
        offsets=np.zeros(len(at)),
        part=part,
        routes=len(np.unique(route[at])),
        routes_heard=len(np.unique(route[at][heard])),
        sites_heard=len(np.unique(site[at][heard])),
        seasons_heard=int(heard.sum()),
        within_routes=within,
        flags=flags,
    )
    if estimates.NOT_IDENTIFIED in flags or not heard.any():
        return levels
    penalty = _penalty(len(years), psi, p, by_year=detection_by_year)
    likelihood = model(history, psi.matrix, p.matrix, at)
    return _search(
        levels, likelihood, columns, penalty, np.unique(route[at], return_inverse=True)[1]
    )


def _rows(design: Design, rows: BoolArray | IntArray) -> Design:
    return Design(names=design.names, matrix=design.matrix[rows])


def site_columns(
    covariates: Design, year: IntArray, route: IntArray, *, within_routes: bool
) -> tuple[Design, bool]:
    """Covariates of occupancy without their intercept, centered and of unit scale, and the mean
    season year of each route; whether that column differs between routes."""
    keep = [k for k, name in enumerate(covariates.names) if name != INTERCEPT]
    names = [covariates.names[k] for k in keep]
    columns = [covariates.matrix[:, k] for k in keep]
    within = False
    if within_routes and len(year):
        rows = np.bincount(route)
        mean_year = np.bincount(route, weights=year.astype(np.float64)) / np.maximum(rows, 1)
        within = bool(np.ptp(mean_year[route]) > _STEP)
        if within:
            names.append(ROUTE_MEAN_YEAR)
            columns.append(mean_year[route])
    matrix = np.column_stack(columns) if columns else np.zeros((len(year), 0))
    return Design(names=tuple(names), matrix=_standard(matrix)), within


def _detection(
    p: Design, year: IntArray, years: IntArray, history: FloatArray, *, by_year: bool
) -> Design:
    """Covariates of detection centered and of unit scale, with an intercept or a level a year."""
    keep = [k for k, name in enumerate(p.names) if name != INTERCEPT]
    matrix = p.matrix[..., keep]
    if matrix.ndim == 3:
        matrix = np.where(np.isnan(history)[:, :, None], np.nan, matrix)
    covariates = Design(names=tuple(p.names[k] for k in keep), matrix=_standard(matrix))
    level = (
        factor_design(year, levels=years, prefix="year ")
        if by_year
        else site_design(len(year), None)
    )
    return join(level, covariates) if keep else level


def _standard(matrix: FloatArray) -> FloatArray:
    if not matrix.size:
        return matrix
    flat = matrix.reshape(-1, matrix.shape[-1])
    spread = np.nanstd(flat, axis=0)
    standard: FloatArray = (matrix - np.nanmean(flat, axis=0)) / np.where(spread > 0, spread, 1.0)
    return standard


def _penalty(years: int, psi: Design, p: Design, *, by_year: bool) -> FloatArray:
    """Curvature (K, K) of the prior on how far a year is from the mean of the years."""
    size = psi.matrix.shape[-1] + p.matrix.shape[-1]
    deviation = np.eye(years) - 1.0 / max(years, 1)
    penalty = np.zeros((size, size))
    penalty[:years, :years] = deviation / PRIOR_SD_OCCUPANCY**2
    if by_year:
        first = psi.matrix.shape[-1]
        penalty[first : first + years, first : first + years] = deviation / PRIOR_SD_DETECTION**2
    return penalty


def _penalized(likelihood: Objective, penalty: FloatArray, center: FloatArray) -> Objective:
    def value_gradient(theta: FloatArray) -> tuple[float, FloatArray]:
        value, gradient = likelihood.value_gradient(theta)
        away = theta - center
        pull = penalty @ away
        return value - 0.5 * float(away @ pull), gradient - pull

    def hessian(theta: FloatArray) -> FloatArray:
        curvature: FloatArray = likelihood.hessian(theta) - penalty
        return curvature

    return Objective(value_gradient=value_gradient, hessian=hessian)


def _search(
    levels: YearLevels,
    likelihood: LevelLikelihood,
    columns: Design,
    penalty: FloatArray,
    route: IntArray,
) -> YearLevels:
    years = len(levels.years)
    k = years + columns.matrix.shape[1]
    start = np.concatenate([np.zeros(len(penalty)), likelihood.start])
    penalty = blocks(penalty, np.diag(likelihood.curvature))
    maximum = maximize(_penalized(likelihood.objective, penalty, start), start)
    information = -maximum.hessian
    flags = levels.flags if maximum.converged else (*levels.flags, estimates.DID_NOT_CONVERGE)
    level_information = np.diag(information)[:years]
    covariance: FloatArray | None = None
    by_model: FloatArray | None = None
    known = identified(maximum)
    if not known[:years].all():
        share = float(np.mean(expit(maximum.theta[:years])))
        at_end = min(share, 1 - share) < _EDGE
        why = estimates.EDGE_OF_RANGE if at_end else estimates.NOT_IDENTIFIED
        flags = merge_flags(flags, (why,))
    elif levels.routes < 2:
        flags = merge_flags(flags, (estimates.FEW_CLUSTERS,))
    else:
        scores = cluster_scores(likelihood.row_scores(maximum.theta), route)
        block = np.ix_(known, known)
        by_model = np.asarray(np.linalg.inv(information[block]), np.float64)[:years, :years]
        covariance = sandwich_covariance(information[block], scores[:, known])[:years, :years]
    return replace(
        levels,
        levels=maximum.theta[:years],
        covariance=covariance,
        model_covariance=by_model,
        information=level_information,
        offsets=columns.matrix @ maximum.theta[years:k],
        flags=flags,
    )
