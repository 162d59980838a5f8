"""Level of occupancy in each season year, within routes: the first stage of a trend over years.

Every year has its own level on the logit scale (MacKenzie et al. 2006, Occupancy Estimation and
Modeling, ch. 7, "implicit dynamics"). A column with the mean season year of each route's own effort
(Mundlak 1978, Econometrica 46:69-85) takes up that routes which were run early may be better or
worse sites than those which were run late, so that the levels follow the change within routes.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property, partial

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import expit

from surveys.trends import estimates
from surveys.trends.estimates import merge_flags
from surveys.trends.models.centered_classes import maximize_centered
from surveys.trends.models.level_models import (
    LevelModel,
    Stretch,
    equal_detection,
    joined,
    joined_scores,
)
from surveys.trends.models.occupancy import check_histories, history_flags
from surveys.trends.models.occupancy_blocks import Block, shared_blocks
from surveys.trends.numerics.arrays import FloatArray, IntArray, codes_of, distinct, numbered
from surveys.trends.numerics.design import (
    INTERCEPT,
    Design,
    blocks,
    drop_incomplete,
    factor_design,
    join,
    moments,
    site_design,
    visit_design,
    without_intercept,
)
from surveys.trends.numerics.optimize import Maximum, Objective, identified, maximize
from surveys.trends.numerics.sandwich import sandwich_covariance
from surveys.trends.numerics.visit_layout import MOST_NUMBERS

ROUTE_MEAN_YEAR = "mean season year of the route"
# A weak normal prior on what sets one year apart from the others keeps the level of a year in which
# the species was not heard finite. Standard deviations on the logit scale; chosen by simulation.
PRIOR_SD_OCCUPANCY = 3.0
PRIOR_SD_DETECTION = 1.0
_STEP = 1e-9
# A mean share nearer to 0 or 1 than this that the data cannot hold is at the end of the range.
_EDGE = 1e-3
# Sites in a season times visits from which a long search begins at the end of one over a part of
# the rows: one of so many.
_MANY, _PART = 60_000, 16


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
    whether the column of route means was needed. ``found`` holds the coefficients of the search
    by name, for others that begin there.
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
    found: Mapping[str, float] = field(default_factory=dict)

    def mean_share(self, logit: float) -> float:
        """Mean share over all rows, the impossible ones included, at a level of occupancy."""
        offsets, weights = self._kinds
        return float(expit(logit + offsets) @ weights) * self.part

    @cached_property
    def _kinds(self) -> tuple[FloatArray, FloatArray]:
        """The distinct offsets and the part of the rows with each."""
        offsets, counts = np.unique(self.offsets, return_counts=True)
        return offsets, counts / max(len(self.offsets), 1)


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
    like: YearLevels | Mapping[str, float] | None = None,
    like_if_small: bool = False,
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
    like
        Levels of nearly the same data, or what they are likely to be (``likely_levels``): the
        search of a large program begins there, which saves time and changes nothing else.
    like_if_small
        Whether that of a small one begins there as well, as where it is done hundreds of times.

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
        history[keep], psi_covariates.select(keep), p.select(keep)
    )
    at = np.flatnonzero(keep)[kept]
    flags = merge_flags((estimates.COVARIATE_MISSING,) if lost else (), history_flags(history))
    years = distinct(year[at]).astype(np.int64)
    columns, within = site_columns(
        psi_covariates.select(at), year[at], route[at], within_routes=within_routes
    )
    p = _detection(p.select(at), history)
    heard = np.nansum(history, axis=1) > 0
    levels = YearLevels(
        years=years,
        levels=np.full(len(years), np.nan),
        covariance=None,
        information=np.full(len(years), np.nan),
        offsets=np.zeros(len(at)),
        part=part,
        routes=len(distinct(route[at])),
        routes_heard=len(distinct(route[at][heard])),
        sites_heard=len(distinct(site[at][heard])),
        seasons_heard=int(heard.sum()),
        within_routes=within,
        flags=flags,
    )
    if estimates.NOT_IDENTIFIED in flags or not heard.any():
        return levels
    code = np.searchsorted(years, year[at])
    stretches_of = partial(
        _stretches, model, history, columns, p, at, code, by_year=detection_by_year
    )
    stretches = _shared(model, history, columns, p, code, by_year=detection_by_year)
    stretches = stretches or stretches_of()
    rough = None
    if stretches[0].likelihood.far and history.size > _MANY:
        rough = stretches_of(every=_PART)
    search = _Search(
        stretches=stretches,
        names=_names(years, columns, p, by_year=detection_by_year),
        penalty=_penalty(len(years), columns, p, by_year=detection_by_year),
        route=numbered(route[at])[1],
        begin=_beginning(like) if like_if_small or history.size > MOST_NUMBERS else {},
        rough=rough,
    )
    return _found(levels, search, columns)


def _names(years: IntArray, columns: Design, p: Design, *, by_year: bool) -> tuple[str, ...]:
    """What each coefficient of the search is called."""
    levels = [f"year {year}" for year in years.tolist()] if by_year else [INTERCEPT]
    return (
        *(f"occupancy: year {year}" for year in years.tolist()),
        *(f"occupancy: {name}" for name in columns.names),
        *(f"detection: {name}" for name in (*levels, *p.names)),
    )


def _beginning(like: YearLevels | Mapping[str, float] | None) -> Mapping[str, float]:
    """Where a search found an end that is worth beginning at."""
    if not isinstance(like, YearLevels):
        return like or {}
    if like.covariance is None or estimates.DID_NOT_CONVERGE in like.flags:
        return {}
    return like.found


def _stretches(
    model: LevelModel,
    history: FloatArray,
    columns: Design,
    p: Design,
    at: IntArray,
    code: IntArray,
    *,
    by_year: bool,
    every: int = 1,
) -> list[Stretch]:
    """The likelihood of each year, or of a few years in a small program; ``code`` (rows,) numbers
    the years. All years share what covariates do, detection its level too unless that is
    ``by_year``. Of ``every`` so many rows of a year one is taken."""
    years, shared = int(code.max()) + 1, len(columns.names)
    first = years + shared
    covariates = first + (years if by_year else 1)
    made = []
    for some in _runs_of_years(np.bincount(code) * history.shape[1]):
        rows = np.flatnonzero((code >= some[0]) & (code <= some[-1]))[::every]
        level = factor_design(code[rows], levels=some, prefix="")
        constant = level if by_year else site_design(len(rows))
        likelihood = model.of_rows(
            history[rows],
            join(level, columns.select(rows)).matrix,
            join(constant, p.select(rows)).matrix,
            at[rows],
        )
        more = len(p.names) + len(likelihood.start)
        own = [
            some,
            np.arange(years, first),
            first + (some if by_year else np.zeros(1, dtype=np.int64)),
            np.arange(covariates, covariates + more),
        ]
        made.append(Stretch(likelihood=likelihood, columns=np.concatenate(own), rows=rows))
    return made


def _shared(
    model: LevelModel,
    history: FloatArray,
    columns: Design,
    p: Design,
    code: IntArray,
    *,
    by_year: bool,
) -> list[Stretch]:
    """All rows as one stretch, of blocks that other models of the same visits use as well; none
    where there are no such blocks or the model has no use for them."""
    layout, places, years = p.layout, p.places, int(code.max()) + 1
    if model.of_blocks is None or layout is None or places is None or not layout.is_of(history):
        return []
    first = years + len(columns.names)

    def blocks_at(false_rate: float) -> tuple[Block, ...]:
        return shared_blocks(
            layout,
            np.r_[0, places],
            columns.matrix,
            psi_level=code,
            level=code if by_year else None,
            levels=np.ones(years) if by_year else np.zeros(0),
            false_rate=false_rate,
        )

    size = first + (years if by_year else 1) + len(p.names)
    likelihood = model.of_blocks(blocks_at)
    everything = np.arange(size + len(likelihood.start))
    return [Stretch(likelihood=likelihood, columns=everything, rows=np.arange(len(history)))]


def _runs_of_years(sizes: IntArray) -> list[IntArray]:
    """The numbers of the years in runs, each of at least a block or of a single year."""
    run = np.floor(np.cumsum(sizes) / (MOST_NUMBERS + 1)).astype(np.int64)
    return [np.flatnonzero(run == number) for number in np.unique(run)]


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


def _detection(p: Design, history: FloatArray) -> Design:
    """Covariates of detection without their intercept, centered and of unit scale."""
    covariates = without_intercept(p)
    if covariates.units is not None:
        return covariates
    matrix = covariates.matrix
    if matrix.ndim == 3:
        matrix = np.where(np.ascontiguousarray(np.isnan(history).T), np.nan, matrix.T).T
    return Design(names=covariates.names, matrix=_standard(matrix))


def _standard(matrix: FloatArray) -> FloatArray:
    if not matrix.size:
        return matrix
    mean, spread = moments(matrix)
    standard: FloatArray = (matrix - mean) / np.where(spread > 0, spread, 1.0)
    return standard


def _penalty(years: int, columns: Design, p: Design, *, by_year: bool) -> FloatArray:
    """Curvature (K, K) of the prior on how far a year is from the mean of the years."""
    first = years + len(columns.names)
    size = first + (years if by_year else 1) + len(p.names)
    deviation = np.eye(years) - 1.0 / max(years, 1)
    penalty = np.zeros((size, size))
    penalty[:years, :years] = deviation / PRIOR_SD_OCCUPANCY**2
    if by_year:
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


@dataclass(frozen=True, kw_only=True)
class _Search:
    """``names`` are those of the coefficients but the single numbers of the form of detection,
    ``penalty`` the curvature of their prior, ``route`` (rows,) the clusters, ``begin`` where the
    search begins, by name, if not at zero. ``rough`` is the likelihood of a part of the rows, at
    whose maximum it begins, climbed from far and from sites nearly equal, where one is better."""

    stretches: Sequence[Stretch]
    names: tuple[str, ...]
    penalty: FloatArray
    route: IntArray
    begin: Mapping[str, float]
    rough: Sequence[Stretch] | None = None

    def maximum(self) -> Maximum:
        numbers = self.stretches[0].likelihood
        center = np.concatenate([np.zeros(len(self.names)), numbers.start])
        penalty = blocks(self.penalty, np.diag(numbers.curvature))
        # A form with numbers of its own may have two hills: these numbers always begin on one side.
        start = center.copy()
        start[: len(self.names)] = [self.begin.get(name, 0.0) for name in self.names]
        goal = _penalized(joined(self.stretches), penalty, center)
        if self.rough is not None:
            starts = [start]
            if numbers.nearly_equal is not None:
                starts.append(np.r_[start[: len(self.names)], numbers.nearly_equal])
            part = _penalized(joined(self.rough), penalty, center)
            climb = self._climb()
            ends = [climb(part, one).theta for one in starts]
            start = max([*ends, *starts[1:]], key=lambda one: goal.value_gradient(one)[0])
            return climb(goal, start)
        return maximize(goal, start)

    def _climb(self) -> Callable[[Objective, FloatArray], Maximum]:
        """The search in a large program."""
        if self.stretches[0].likelihood.nearly_equal is None:
            return maximize
        levels = [
            number
            for number, name in enumerate(self.names)
            if name == f"detection: {INTERCEPT}" or name.startswith("detection: year ")
        ]
        return partial(maximize_centered, levels=np.array(levels))


def _found(levels: YearLevels, search: _Search, columns: Design) -> YearLevels:
    years = len(levels.years)
    k = years + columns.matrix.shape[1]
    maximum = search.maximum()
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
        scores = joined_scores(search.stretches, maximum.theta, search.route)
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
        found=dict(zip(search.names, maximum.theta.tolist(), strict=False)),
    )
