"""What every likelihood model ends in: coefficients, and estimates read off them."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from surveys.trends import estimates
from surveys.trends.estimates import Estimate, merge_flags, not_estimable
from surveys.trends.numerics.arrays import (
    BoolArray,
    FloatArray,
    IntArray,
    check_level,
    codes_of,
)
from surveys.trends.numerics.intervals import logistic, normal_quantile, t_quantile
from surveys.trends.numerics.optimize import (
    Maximum,
    Objective,
    ProfileFailedError,
    covariance_of,
    identified,
    maximize,
    profile_limits,
    quadratic_form,
)
from surveys.trends.numerics.sandwich import cluster_scores, sandwich_covariance
from surveys.trends.printing import PrintedRow, PrintsAsTable, coefficient_rows

Link = Literal["logit", "log"]
Smooth = Callable[[FloatArray], tuple[float, FloatArray]]
# Beyond this on the logit or log scale a chance is 0 or 1 to five digits: nothing else limits it.
EDGE_LOGIT = 12.0
# Common practice, no source: with fewer clusters the sandwich is too narrow.
FEWEST_CLUSTERS = 10
PROFILE = "profile"
DELTA = "delta-logit"
_NEAR_END = 1e-9
# At the edge of the range, an interval over more than this of it says that nothing is known.
_UNINFORMATIVE = 0.5
_MOST_COSTLY = 60


@dataclass(frozen=True, kw_only=True, repr=False)
class ModelFit(PrintsAsTable):
    """A model fitted by maximum likelihood.

    ``coefficients`` (K,) are in the units of the covariates; ``covariance`` (K, K) has NaN for
    what is not identified. ``maximum`` is on the scale of the search, None when nothing could be
    fitted; ``coefficients = back @ maximum.theta``. ``rows`` counts the histories used. With
    ``clusters`` above 0 the covariance is the clustered sandwich, and intervals are Wald with t.
    """

    method: str
    names: tuple[str, ...]
    coefficients: FloatArray
    covariance: FloatArray
    log_likelihood: float
    aic: float
    rows: int
    flags: tuple[str, ...]
    objective: Objective | None
    maximum: Maximum | None
    back: FloatArray
    clusters: int = 0

    def printed_title(self) -> str:
        return f"{self.method}, {self.rows} rows"

    def printed_rows(self) -> Sequence[PrintedRow]:
        return coefficient_rows(
            self.names, self.coefficients, self.covariance, quantile=quantile(self, 0.95)
        )

    def printed_flags(self) -> tuple[str, ...]:
        return self.flags


class HoldsModelFit(PrintsAsTable):
    """A fit that prints as the ``fitted`` model that it holds."""

    fitted: ModelFit

    def printed_title(self) -> str:
        return self.fitted.printed_title()

    def printed_rows(self) -> Sequence[PrintedRow]:
        return self.fitted.printed_rows()

    def printed_flags(self) -> tuple[str, ...]:
        return self.fitted.flags


@dataclass(frozen=True, kw_only=True)
class Line:
    """A linear predictor with its limits and standard error, before any link."""

    value: float
    low: float | None
    high: float | None
    se: float
    interval: str
    flags: tuple[str, ...]


def fit_model(
    objective: Objective,
    starts: Sequence[FloatArray],
    *,
    method: str,
    names: tuple[str, ...],
    rows: int,
    back: FloatArray,
    predictors: Callable[[FloatArray], FloatArray],
    flags: tuple[str, ...] = (),
) -> ModelFit:
    """Climb from each start and keep the highest end.

    ``predictors`` gives the linear predictors at parameters of the search; one that ran far off
    marks the edge of the range.
    """
    maximum = max((maximize(objective, start) for start in starts), key=lambda end: end.value)
    if objective.costly and not maximum.converged:
        # Updates lose their way along the edge of the range; the true Hessian does not.
        maximum = maximize(replace(objective, costly=False), maximum.theta, most=_MOST_COSTLY)
    edge = bool((np.abs(predictors(maximum.theta)) > EDGE_LOGIT).any())
    known = identified(maximum)
    search_flags: list[str] = []
    if not maximum.converged:
        search_flags.append(estimates.DID_NOT_CONVERGE)
    if edge:
        search_flags.append(estimates.EDGE_OF_RANGE)
    elif not known.all():
        search_flags.append(estimates.NOT_IDENTIFIED)
    return ModelFit(
        method=method,
        names=names,
        coefficients=back @ maximum.theta,
        covariance=back_transformed(covariance_of(maximum), back),
        log_likelihood=maximum.value,
        aic=2 * len(names) - 2 * maximum.value,
        rows=rows,
        flags=merge_flags(flags, tuple(search_flags)),
        objective=objective,
        maximum=maximum,
        back=back,
    )


def clustered(fitted: ModelFit, row_scores: FloatArray, cluster: IntArray) -> ModelFit:
    """The fit with sandwich covariance; ``row_scores`` (rows, K) on the scale of the search."""
    clusters = int(cluster.max(initial=-1)) + 1
    if fitted.maximum is None or clusters < 2:
        return replace(fitted, flags=merge_flags(fitted.flags, (estimates.FEW_CLUSTERS,)))
    known = identified(fitted.maximum)
    covariance = np.full(fitted.covariance.shape, np.nan)
    block = np.ix_(known, known)
    covariance[block] = sandwich_covariance(
        -fitted.maximum.hessian[block], cluster_scores(row_scores, cluster)[:, known]
    )
    return replace(
        fitted,
        covariance=back_transformed(covariance, fitted.back),
        clusters=clusters,
        flags=merge_flags(
            fitted.flags, (estimates.FEW_CLUSTERS,) if clusters < FEWEST_CLUSTERS else ()
        ),
    )


def clustered_by(
    fitted: ModelFit,
    labels: ArrayLike | None,
    kept: BoolArray,
    row_scores: Callable[[FloatArray], FloatArray],
) -> ModelFit:
    """The fit with sandwich covariance by the labels of all rows; as it is without labels.

    ``kept`` marks the rows that were fitted, ``row_scores`` gives their scores at some
    coefficients.
    """
    if labels is None:
        return fitted
    codes = codes_of(labels, name="clusters", length=len(kept))[1][kept]
    if fitted.maximum is None:
        return fitted
    compact = np.unique(codes, return_inverse=True)[1].astype(np.int64)
    return clustered(fitted, row_scores(fitted.maximum.theta), compact)


def quantile(fitted: ModelFit, level: float) -> float:
    """Normal quantile, or t with clusters - 1 degrees of freedom."""
    if not fitted.clusters:
        return normal_quantile(level)
    return t_quantile(level, fitted.clusters - 1)


def unfitted(*, method: str, names: tuple[str, ...], rows: int, flags: tuple[str, ...]) -> ModelFit:
    """A fit that could not be tried; the flags say why."""
    size = len(names)
    return ModelFit(
        method=method,
        names=names,
        coefficients=np.full(size, np.nan),
        covariance=np.full((size, size), np.nan),
        log_likelihood=float("nan"),
        aic=float("nan"),
        rows=rows,
        flags=flags,
        objective=None,
        maximum=None,
        back=np.eye(size),
    )


def profile_line(
    objective: Objective, maximum: Maximum, contrast: FloatArray, *, se: float, level: float
) -> Line:
    """Profile-likelihood limits of ``contrast @ maximum.theta``; Wald limits when that fails."""
    value = float(contrast @ maximum.theta)
    flags = _value_flags(value, se)
    try:
        low, high = profile_limits(objective, maximum, contrast, level=level)
    except ProfileFailedError:
        line = wald_line(value, se, normal_quantile(level), interval="wald")
        return Line(
            value=value,
            low=line.low,
            high=line.high,
            se=se,
            interval=line.interval,
            flags=merge_flags(flags, (estimates.WALD_FALLBACK,)),
        )
    if low is None or high is None:
        flags = (*flags, estimates.ONE_SIDED)
    return Line(value=value, low=low, high=high, se=se, interval=PROFILE, flags=flags)


def wald_line(value: float, se: float, quantile: float, *, interval: str) -> Line:
    """Limits at ``quantile`` standard errors; none when there is no standard error."""
    known = np.isfinite(se)
    return Line(
        value=value,
        low=value - quantile * se if known else None,
        high=value + quantile * se if known else None,
        se=se,
        interval=interval,
        flags=_value_flags(value, se),
    )


def line_estimate(
    fitted: ModelFit, contrast: FloatArray, *, name: str, level: float, link: Link
) -> Estimate:
    """The inverse link of ``contrast @ coefficients`` with its profile-likelihood interval."""
    check_level(level)
    if fitted.maximum is None or fitted.objective is None:
        return not_estimable(name, method=fitted.method, flags=fitted.flags, level=level)
    se = float(np.sqrt(quadratic_form(fitted.covariance, contrast)))
    line = wald_line(
        float(contrast @ fitted.coefficients), se, quantile(fitted, level), interval="clustered"
    )
    if not fitted.clusters or line.flags:
        line = profile_line(
            fitted.objective, fitted.maximum, fitted.back.T @ contrast, se=se, level=level
        )
    other_flags = tuple(f for f in fitted.flags if f != estimates.EDGE_OF_RANGE)
    flags = merge_flags(other_flags, line.flags)
    unknown = estimates.NOT_IDENTIFIED in flags
    value, slope = inverse_link(line.value, link)
    floor, ceiling = (0.0, 1.0) if link == "logit" else (0.0, None)
    edge = estimates.EDGE_OF_RANGE in line.flags
    return Estimate(
        name=name,
        value=None if unknown else _snapped(value, link) if edge else value,
        low=floor if line.low is None else inverse_link(line.low, link)[0],
        high=ceiling if line.high is None else inverse_link(line.high, link)[0],
        interval=line.interval,
        method=fitted.method,
        flags=flags,
        se=slope * se if np.isfinite(se) and not unknown else None,
        level=level,
    )


def derived_share(fitted: ModelFit, function: Smooth, *, name: str, level: float) -> Estimate:
    """A share that is a smooth function of the coefficients, by the delta method.

    ``function`` returns the share and its gradient (K,). A fit at the edge of the range gives no
    value where it has no limits, or limits that leave everything open.
    """
    check_level(level)
    if fitted.maximum is None or estimates.NOT_IDENTIFIED in fitted.flags:
        return not_estimable(name, method=fitted.method, flags=fitted.flags, level=level)
    value, gradient = function(fitted.coefficients)
    low, high, se = share_limits(value, gradient, fitted.covariance, quantile(fitted, level))
    edge = () if se is not None else (estimates.EDGE_OF_RANGE,)
    at_edge = estimates.EDGE_OF_RANGE in merge_flags(fitted.flags, edge)
    usable = low is not None and high is not None and not (at_edge and high - low > _UNINFORMATIVE)
    return Estimate(
        name=name,
        value=value if usable else None,
        low=low,
        high=high,
        interval=f"{DELTA}{'+clustered' if fitted.clusters else ''}",
        method=fitted.method,
        flags=merge_flags(fitted.flags, edge),
        se=se,
        level=level,
    )


def share_limits(
    value: float, gradient: FloatArray, covariance: FloatArray, quantile: float
) -> tuple[float | None, float | None, float | None]:
    """Limits and standard error of a share by the delta method, on the logit scale.

    All None at the end of the range or where the share rests on what is not identified.
    """
    se = float(np.sqrt(quadratic_form(covariance, gradient)))
    if not (_NEAR_END < value < 1 - _NEAR_END and np.isfinite(se)):
        return None, None, None
    line, half = float(np.log(value / (1 - value))), quantile * se / (value * (1 - value))
    return logistic(line - half), logistic(line + half), se


def inverse_link(x: float, link: Link) -> tuple[float, float]:
    """The inverse link at ``x`` and its slope there."""
    if link == "logit":
        share = logistic(x)
        return share, share * (1 - share)
    return float(np.exp(x)), float(np.exp(x))


def back_transformed(covariance: FloatArray, back: FloatArray) -> FloatArray:
    """Covariance of ``back @ theta``; NaN spreads only where an unidentified parameter is used."""
    unknown = np.isnan(np.diag(covariance))
    filled = np.where(np.isnan(covariance), 0.0, covariance)
    transformed: FloatArray = back @ filled @ back.T
    unidentified = (np.abs(back) @ unknown) > 0
    transformed[unidentified, :] = np.nan
    transformed[:, unidentified] = np.nan
    return transformed


def _value_flags(value: float, se: float) -> tuple[str, ...]:
    """Why there is no standard error: the value ran off, or nothing pins it down."""
    if np.isfinite(se):
        return ()
    return (estimates.EDGE_OF_RANGE,) if abs(value) > EDGE_LOGIT else (estimates.NOT_IDENTIFIED,)


def _snapped(value: float, link: Link) -> float | None:
    """At the end of the range: exactly 0 or 1, and no number for a rate without end."""
    if link == "logit":
        return float(round(value))
    return 0.0 if value < 1 else None
