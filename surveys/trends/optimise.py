"""Maximum likelihood by damped Newton steps, and intervals from the profile likelihood."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.linalg import null_space
from scipy.optimize import brentq

from .arrays import BoolArray, FloatArray
from .intervals import normal_quantile

ValueGradient = Callable[[FloatArray], tuple[float, FloatArray]]
Hessian = Callable[[FloatArray], FloatArray]

# Newton decrement: twice the log-likelihood still to be gained, far below any reported digit.
_TOLERANCE = 1e-10
_ROUNDING = 1e-13
_LONGEST_STEP = 4.0
_MOST_ITERATIONS = 200
# A costly Hessian is computed afresh after this many updates.
_REFRESH = 20
_SMALLEST_CURVATURE = 1e-12
# Curvature against the sharpest direction below which a direction counts as flat, and the share
# of a flat direction above which a parameter counts as lost in it.
_FLAT = 1e-7
_LOADING = 0.01
# A profile that rises above the maximum by more than this shows that it was not the maximum.
_RISE = 1e-4
# On a logit scale, beyond this nothing can be told from 0 or 1.
_FARTHEST = 25.0


@dataclass(frozen=True, kw_only=True)
class Objective:
    """A log-likelihood of K parameters: value and gradient (K,), and the Hessian (K, K).

    ``costly`` says that one Hessian takes many evaluations.
    """

    value_gradient: ValueGradient
    hessian: Hessian
    costly: bool = False


@dataclass(frozen=True, kw_only=True)
class Maximum:
    """Where the search ended. ``converged`` is False when it stopped before settling."""

    theta: FloatArray
    value: float
    gradient: FloatArray
    hessian: FloatArray
    converged: bool
    iterations: int


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


def maximise(
    objective: Objective, start: FloatArray, *, curvature: FloatArray | None = None
) -> Maximum:
    """Climb from ``start`` to a maximum.

    Newton steps on the absolute eigenvalues of the Hessian, so that a saddle or a convex stretch
    is left uphill; a step is shortened while the value falls. A parameter that runs to infinity
    stops where the likelihood is flat to rounding; the caller recognises that by its size.

    ``curvature`` is a Hessian from near by. With it, and wherever the Hessian of the objective is
    costly, steps follow a Hessian that is updated from the gradients instead (Broyden, Fletcher,
    Goldfarb, Shanno); the Hessian of the result is then only as good as those updates when
    ``curvature`` was given.
    """
    theta = np.array(start, dtype=np.float64)
    value, gradient = objective.value_gradient(theta)
    hessian = objective.hessian(theta) if curvature is None else curvature
    updated = objective.costly or curvature is not None
    converged, iteration = False, 0
    while iteration < _MOST_ITERATIONS and not converged and np.isfinite(value):
        iteration += 1
        step, decrement = _newton_step(gradient, hessian)
        converged = decrement < _TOLERANCE
        found = _climb(objective.value_gradient, theta, step, value)
        if found is None:
            # No uphill point is left within rounding: a maximum when the slope is small too.
            converged = converged or decrement < np.sqrt(_TOLERANCE)
            break
        before = theta, gradient
        theta, value, gradient = found
        if not updated or (iteration % _REFRESH == 0 and curvature is None):
            hessian = objective.hessian(theta)
        elif not converged:
            hessian = _updated(hessian, theta - before[0], gradient - before[1])
    if updated and curvature is None and np.isfinite(value):
        hessian = objective.hessian(theta)
        converged = converged and _newton_step(gradient, hessian)[1] < np.sqrt(_TOLERANCE)
    return Maximum(
        theta=theta,
        value=float(value),
        gradient=gradient,
        hessian=hessian,
        converged=bool(converged),
        iterations=iteration,
    )


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


def _newton_step(gradient: FloatArray, hessian: FloatArray) -> tuple[FloatArray, float]:
    curvature, directions = np.linalg.eigh(-hessian)
    size = np.abs(curvature)
    size = np.maximum(size, max(size.max(initial=0.0), 1.0) * _SMALLEST_CURVATURE)
    along = directions.T @ gradient
    step = directions @ (along / size)
    decrement = float(along @ (along / size))
    longest = np.abs(step).max(initial=0.0)
    return step * min(1.0, _LONGEST_STEP / longest) if longest else step, decrement


def _climb(
    value_gradient: ValueGradient, theta: FloatArray, step: FloatArray, value: float
) -> tuple[FloatArray, float, FloatArray] | None:
    shrink = 1.0
    for _ in range(40):
        trial = theta + shrink * step
        trial_value, trial_gradient = value_gradient(trial)
        if np.isfinite(trial_value) and trial_value >= value - _ROUNDING * abs(value):
            return trial, trial_value, trial_gradient
        shrink *= 0.5
    return None


def identified(maximum: Maximum) -> BoolArray:
    """Which parameters (K,) the data pin down: those with no share in a flat direction."""
    curvature, directions = np.linalg.eigh(-maximum.hessian)
    flat = curvature <= max(curvature.max(initial=0.0), 1.0) * _FLAT
    loading: FloatArray = np.square(directions[:, flat]).sum(axis=1)
    return loading < _LOADING


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
    return float(contrast[used] @ covariance[np.ix_(used, used)] @ contrast[used])


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
    low, high = (_profile_end(profile, best, way * min(step, 3.0), z) for way in (-1, 1))
    return None if low is None else low * length, None if high is None else high * length


class ProfileFailedError(Exception):
    """The profile likelihood could not be followed to its end."""


class _Profile:
    """Signed-root deviance of a contrast; each call starts where the nearest one ended."""

    def __init__(self, objective: Objective, maximum: Maximum, contrast: FloatArray) -> None:
        self._objective = objective
        self._top = maximum.value
        self._along = contrast
        self._across: FloatArray = null_space(contrast[None, :])
        self._curvature = self._across.T @ maximum.hessian @ self._across
        self._seen = [(float(contrast @ maximum.theta), self._across.T @ maximum.theta)]

    def root_deviance(self, at: float) -> float:
        fixed = self._along * at
        start = min(self._seen, key=lambda pair: abs(pair[0] - at))[1]
        if self._across.shape[1] == 0:
            value = self._objective.value_gradient(fixed)[0]
        else:
            curvature = self._curvature if self._objective.costly else None
            inner = maximise(self._inner(fixed), start, curvature=curvature)
            value = inner.value
            if not inner.converged or value > self._top + _RISE:
                raise ProfileFailedError
            self._seen.append((at, inner.theta))
        return float(np.sqrt(max(0.0, 2 * (self._top - value))))

    def _inner(self, fixed: FloatArray) -> Objective:
        across = self._across

        def value_gradient(rest: FloatArray) -> tuple[float, FloatArray]:
            value, gradient = self._objective.value_gradient(fixed + across @ rest)
            return value, across.T @ gradient

        def hessian(rest: FloatArray) -> FloatArray:
            inner: FloatArray = across.T @ self._objective.hessian(fixed + across @ rest) @ across
            return inner

        return Objective(value_gradient=value_gradient, hessian=hessian)


def _profile_end(profile: _Profile, best: float, step: float, z: float) -> float | None:
    inside = float(np.clip(best, -_FARTHEST / 2, _FARTHEST / 2))
    if inside != best and profile.root_deviance(inside) >= z:
        # The estimate ran off to infinity and the end lies beyond the clipped start.
        inside = best
    outside = inside + step
    while profile.root_deviance(outside) < z:
        inside, step = outside, step * 1.5
        outside = inside + step
        if abs(outside - np.clip(best, -_FARTHEST, _FARTHEST)) > 2 * _FARTHEST:
            return None
    end: float = brentq(lambda at: profile.root_deviance(at) - z, inside, outside, xtol=1e-7)
    return end
