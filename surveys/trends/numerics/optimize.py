"""Maximum likelihood by damped Newton steps, and intervals from the profile likelihood."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from surveys.trends.numerics.arrays import BoolArray, FloatArray
from surveys.trends.numerics.intervals import normal_quantile
from surveys.trends.numerics.roots import root

ValueGradient = Callable[[FloatArray], tuple[float, FloatArray]]
Hessian = Callable[[FloatArray], FloatArray]

# Newton decrement: twice the log-likelihood still to be gained, far below any reported digit.
_TOLERANCE = 1e-10
_NO_MOVE = 1e-15
# With so little left to gain where the Hessian is known, the search is over: all estimates are
# within 3e-7 of their standard errors.
_THERE = 1e-13
_ROUNDING = 1e-13
_LONGEST_STEP = 4.0
_MOST_ITERATIONS = 200
_MOST_UPDATES = 40
_MOST_HALVINGS = 40
# A costly Hessian is computed afresh after this many updates.
_REFRESH = 20
_SMALLEST_CURVATURE = 1e-12
# A gain of 1e-5 along a flat direction counts as little as one of 1e-10 along a sharp one: it
# changes no estimate that is reported.
_FLAT_SHARE = 1e-5
# Curvature against the sharpest direction below which a direction counts as flat, and the share
# of a flat direction above which a parameter counts as not identified.
_FLAT = 1e-7
_LOADING = 0.01
# A profile that rises above the maximum by more than this shows that it was not the maximum.
_RISE = 1e-4
# Ends of profiles are right to this, on the scale of the search.
_END, _MOST_STEPS = 1e-7, 8
FARTHEST = 18.0


@dataclass(frozen=True, kw_only=True)
class Objective:
    """A log-likelihood of K parameters: value and gradient (K,), and the Hessian (K, K).

    ``costly`` says that one Hessian takes many evaluations. The search stays between ``lower`` and
    ``upper``, numbers or (K,): on a logit scale nothing beyond differs from 0 or 1.
    """

    value_gradient: ValueGradient
    hessian: Hessian
    costly: bool = False
    lower: FloatArray | float = -FARTHEST
    upper: FloatArray | float = FARTHEST


@dataclass(frozen=True, kw_only=True)
class Maximum:
    """Where the search ended. ``converged`` is False when it stopped before settling; ``held``
    (K,) marks parameters that ran into the end of the search."""

    theta: FloatArray
    value: float
    gradient: FloatArray
    hessian: FloatArray
    converged: bool
    iterations: int
    held: BoolArray


def numeric_hessian(value_gradient: ValueGradient, *, step: float = 1e-5) -> Hessian:
    """Hessian by central differences of an analytic gradient, made symmetric."""

    def hessian(theta: FloatArray) -> FloatArray:
        columns = []
        for k in range(len(theta)):
            shift = np.zeros(len(theta))
            shift[k] = step * max(1.0, abs(theta[k]))
            ahead, behind = value_gradient(theta + shift)[1], value_gradient(theta - shift)[1]
            columns.append((ahead - behind) / (2 * shift[k]))
        matrix = np.column_stack(columns) if columns else np.zeros((0, 0))
        return 0.5 * (matrix + matrix.T)

    return hessian


def maximize(
    objective: Objective,
    start: FloatArray,
    *,
    curvature: FloatArray | None = None,
    most: int | None = None,
) -> Maximum:
    """Climb from ``start`` to a maximum.

    Newton steps on the absolute eigenvalues of the Hessian, so that a saddle or a convex stretch
    is left uphill; a step is shortened while the value falls. A parameter that runs to infinity is
    held at the end of the search.

    ``curvature`` is a Hessian from near by. With it, and wherever the Hessian of the objective is
    costly, steps follow a Hessian that is updated from the gradients instead (Broyden, Fletcher,
    Goldfarb, Shanno); the Hessian of the result is then only as good as those updates when
    ``curvature`` was given. ``most`` limits the steps.
    """
    theta = np.clip(np.array(start, dtype=np.float64), objective.lower, objective.upper)
    value, gradient = objective.value_gradient(theta)
    hessian = objective.hessian(theta) if curvature is None else curvature
    updated = objective.costly or curvature is not None
    converged, iteration = False, 0
    most = most or (_MOST_ITERATIONS if curvature is None else _MOST_UPDATES)
    while iteration < most and not converged and np.isfinite(value):
        iteration += 1
        step, gain = newton_step(gradient, hessian, _held(objective, theta, gradient))
        converged = gain < _TOLERANCE
        if gain < _THERE and not updated:
            # The Hessian is that of this very point, and the rest of the way changes no digit.
            break
        uphill = _line_search(objective, theta, step, value)
        if uphill is None:
            # No uphill point is left within rounding.
            break
        before = theta, gradient
        theta, value, gradient = uphill
        if gain < _NO_MOVE:
            # The step was too short to change the curvature.
            break
        if not updated or (iteration % _REFRESH == 0 and curvature is None):
            hessian = objective.hessian(theta)
        elif not converged:
            hessian = _updated(hessian, theta - before[0], gradient - before[1])
    held = _held(objective, theta, gradient)
    if curvature is None and np.isfinite(value):
        # The last word has the true Hessian: what is left to gain must be too little to matter.
        hessian = objective.hessian(theta) if updated else hessian
        converged = newton_step(gradient, hessian, held)[1] < np.sqrt(_TOLERANCE)
    return Maximum(
        theta=theta,
        value=float(value),
        gradient=gradient,
        hessian=hessian,
        converged=bool(converged),
        iterations=iteration,
        held=held,
    )


def _held(objective: Objective, theta: FloatArray, gradient: FloatArray) -> BoolArray:
    """Parameters at the end of the search whose slope leads beyond it."""
    held: BoolArray = ((theta >= objective.upper) & (gradient >= 0)) | (
        (theta <= objective.lower) & (gradient <= 0)
    )
    return held


def _updated(hessian: FloatArray, step: FloatArray, change: FloatArray) -> FloatArray:
    """The Hessian after the gradient changed by ``change`` along ``step``.

    Left alone where the function is not concave along the step.
    """
    along = float(step @ change)
    pulled = hessian @ step
    across = float(step @ pulled)
    if along >= -1e-14 or across >= -1e-14:
        return hessian
    new: FloatArray = hessian + np.outer(change, change) / along - np.outer(pulled, pulled) / across
    return new


def newton_step(
    gradient: FloatArray, hessian: FloatArray, held: BoolArray
) -> tuple[FloatArray, float]:
    """The step over the free parameters, and twice the log-likelihood still to be gained."""
    free = np.flatnonzero(~held)
    curvature, directions = np.linalg.eigh(-hessian[free[:, None], free])
    size = np.abs(curvature)
    largest = max(size.max(initial=0.0), 1.0)
    size = np.maximum(size, largest * _SMALLEST_CURVATURE)
    along = directions.T @ gradient[free]
    step = np.zeros(len(gradient))
    step[free] = directions @ (along / size)
    # Along a flat direction the curvature is mostly rounding: what counts is how much the slope
    # could gain all the way to the end of the search.
    flat = size <= largest * _FLAT
    gain = float((along[~flat] ** 2 / size[~flat]).sum())
    gain += _FLAT_SHARE * FARTHEST * float(np.abs(along[flat]).sum())
    longest = np.abs(step).max(initial=0.0)
    return step * min(1.0, _LONGEST_STEP / longest) if longest else step, gain


def _line_search(
    objective: Objective, theta: FloatArray, step: FloatArray, value: float
) -> tuple[FloatArray, float, FloatArray] | None:
    shrink = 1.0
    for _ in range(_MOST_HALVINGS):
        trial = np.minimum(np.maximum(theta + shrink * step, objective.lower), objective.upper)
        trial_value, trial_gradient = objective.value_gradient(trial)
        if np.isfinite(trial_value) and trial_value >= value - _ROUNDING * abs(value):
            return trial, trial_value, trial_gradient
        shrink *= 0.5
    return None


def identified(maximum: Maximum) -> BoolArray:
    """Which parameters (K,) the data pin down: not held, and with no share in a flat direction."""
    known = ~maximum.held
    curvature, directions = np.linalg.eigh(-maximum.hessian[np.ix_(known, known)])
    flat = curvature <= max(curvature.max(initial=0.0), 1.0) * _FLAT
    loading: FloatArray = np.square(directions[:, flat]).sum(axis=1)
    known[known] = loading < _LOADING
    return known


def covariance_of(maximum: Maximum) -> FloatArray:
    """Inverse of the observed information (K, K), with NaN for parameters not identified."""
    known = identified(maximum)
    covariance = np.full(maximum.hessian.shape, np.nan)
    block = np.ix_(known, known)
    covariance[block] = np.linalg.inv(-maximum.hessian[block])
    return covariance


def quadratic_form(covariance: FloatArray, contrast: FloatArray) -> float:
    """Variance of ``contrast @ theta``; NaN when it rests on a parameter that is not identified."""
    used = contrast != 0
    # Rounding can leave a variance of nothing just below zero; NaN stays NaN.
    return float(np.maximum(contrast[used] @ covariance[np.ix_(used, used)] @ contrast[used], 0.0))


def profile_limits(
    objective: Objective, maximum: Maximum, contrast: FloatArray, *, level: float
) -> tuple[float | None, float | None]:
    """Ends of the profile-likelihood interval of ``contrast @ theta``.

    The ends are where twice the drop of the profile log-likelihood equals the chi-squared
    quantile with one degree of freedom (Venzon & Moolgavkar 1988, Applied Statistics 37:87-94).
    An end is None when the likelihood never falls that far on its side. Raises
    ProfileFailedError when the search does not settle.
    """
    z = normal_quantile(level)
    # A contrast of length 1 lives on the scale of the search, whatever the units of a covariate.
    length = float(np.linalg.norm(contrast))
    contrast = contrast / length
    best = float(contrast @ maximum.theta)
    variance = quadratic_form(covariance_of(maximum), contrast)
    step = z * float(np.sqrt(variance)) if variance > 0 else 1.0
    profile = _Profile(objective, maximum, contrast)
    low, high = (_profile_end(profile, best, side * min(step, 3.0), z) for side in (-1, 1))
    return None if low is None else low * length, None if high is None else high * length


class ProfileFailedError(Exception):
    """The profile likelihood could not be followed to its end."""


class _Profile:
    """Signed-root deviance of a contrast; each call starts where the nearest one ended."""

    def __init__(self, objective: Objective, maximum: Maximum, contrast: FloatArray) -> None:
        self._objective = objective
        self._top = maximum.value
        self._along = contrast
        self._across, self._lower, self._upper = _complement(objective, contrast)
        # The curvature at the maximum serves near by, unless a parameter is held where it is flat.
        near_by = bool(identified(maximum).all())
        self._curvature = self._across.T @ maximum.hessian @ self._across if near_by else None
        self._slope: FloatArray = np.zeros(self._across.shape[1])
        self._latest: list[tuple[FloatArray, FloatArray]] = []
        if self._curvature is not None:
            along = self._across.T @ (maximum.hessian @ contrast)
            self._slope = np.asarray(-np.linalg.solve(self._curvature, along), np.float64)
        self._seen = [(float(contrast @ maximum.theta), self._across.T @ maximum.theta)]
        # Asked again, another start could end on another hill: a root finder needs one answer.
        self._known: dict[float, tuple[float, float]] = {}

    def root_deviance(self, at: float) -> float:
        return self.with_slope(at)[0]

    def with_slope(self, at: float) -> tuple[float, float]:
        """The signed-root deviance and its slope, which is 0 where it is not known."""
        if at not in self._known:
            self._known[at] = self._fit_at(at)
        return self._known[at]

    def _fit_at(self, at: float) -> tuple[float, float]:
        fixed = self._along * at
        near, start = min(self._seen, key=lambda pair: abs(pair[0] - at))
        start = start + self._slope * (at - near)
        if self._across.shape[1] == 0:
            value, gradient = self._objective.value_gradient(fixed)
        else:
            objective = self._inner(fixed)
            inner = maximize(objective, start, curvature=self._curvature)
            if not inner.converged and self._curvature is not None:
                inner = maximize(objective, start)
            value = inner.value
            gradient = self._gradient_at(fixed, inner.theta)
            if not inner.converged or value > self._top + _RISE:
                raise ProfileFailedError
            self._seen.append((at, inner.theta))
        root_deviance = float(np.sqrt(max(0.0, 2 * (self._top - value))))
        # Along the profile the likelihood falls as it does with the others held (envelope theorem).
        slope = -float(gradient @ self._along) / root_deviance if root_deviance else 0.0
        return root_deviance, slope

    def _gradient_at(self, fixed: FloatArray, rest: FloatArray) -> FloatArray:
        if self._latest and self._latest[0][0] is rest:
            return self._latest[0][1]
        return self._objective.value_gradient(fixed + self._across @ rest)[1]

    def _inner(self, fixed: FloatArray) -> Objective:
        across = self._across

        def value_gradient(rest: FloatArray) -> tuple[float, FloatArray]:
            value, gradient = self._objective.value_gradient(fixed + across @ rest)
            self._latest[:] = [(rest, gradient)]
            return value, across.T @ gradient

        def hessian(rest: FloatArray) -> FloatArray:
            inner: FloatArray = across.T @ self._objective.hessian(fixed + across @ rest) @ across
            return inner

        return Objective(
            value_gradient=value_gradient,
            hessian=hessian,
            costly=self._objective.costly,
            lower=self._lower,
            upper=self._upper,
        )


def _complement(
    objective: Objective, contrast: FloatArray
) -> tuple[FloatArray, FloatArray | float, FloatArray | float]:
    """Directions at right angles to a contrast, and the ends of the search along them."""
    size = len(contrast)
    if np.count_nonzero(contrast) == 1:
        rest = contrast == 0
        lower, upper = (
            np.broadcast_to(end, (size,))[rest] for end in (objective.lower, objective.upper)
        )
        return np.eye(size)[:, rest], lower, upper
    from scipy.linalg import null_space  # noqa: PLC0415 - see numerics/roots.py

    return null_space(contrast[None, :]), -FARTHEST * size, FARTHEST * size


def _profile_end(profile: _Profile, best: float, step: float, z: float) -> float | None:
    # An estimate that ran off says little of where the likelihood begins to fall: start half way.
    inside = float(np.clip(best, -FARTHEST / 2, FARTHEST / 2))
    if inside != best and profile.root_deviance(inside) >= z:
        inside = best
    outside = inside + step
    while profile.root_deviance(outside) < z:
        if abs(outside) > FARTHEST:
            return None
        inside, step = outside, step * 1.5
        outside = inside + step
    if profile.root_deviance(inside) >= z:
        raise ProfileFailedError
    end = _newton_end(profile, inside, outside, z)
    if end is not None:
        return end
    return root(lambda at: profile.root_deviance(at) - z, inside, outside, xtol=_END)


def _newton_end(profile: _Profile, inside: float, outside: float, z: float) -> float | None:
    """Where the root deviance is z, by Newton's method: it is nearly straight. None where a step
    leaves the stretch that is known to hold the end, or steps do not settle."""
    at = min((outside, inside), key=lambda end: abs(profile.root_deviance(end) - z))
    for _ in range(_MOST_STEPS):
        deviance, slope = profile.with_slope(at)
        inside, outside = (at, outside) if deviance < z else (inside, at)
        step = (z - deviance) / slope if slope else np.inf
        if not min(inside, outside) <= at + step <= max(inside, outside):
            return None
        at += step
        if abs(step) < _END:
            return at
    return None
