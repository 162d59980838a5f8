"""The search for two classes of sites, by the mean of their detection.

The share of sites in either class, how far the classes are apart and the level of detection pull at
each other along a bent ridge, on which Newton steps are short. With the mean over both classes in
place of the level between them the ridge is nearly straight.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy.special import expit

from surveys.trends.numerics.arrays import FloatArray, IntArray
from surveys.trends.numerics.optimize import Maximum, Objective, maximize


def maximize_centered(goal: Objective, start: FloatArray, levels: IntArray) -> Maximum:
    """The maximum of ``goal``, by its own parameters.

    ``levels`` says which of them are levels of detection. The last two are how far the classes are
    apart, and the logit of the share of sites in the first.
    """
    centered = _Centered(goal, levels)
    end = maximize(
        replace(goal, value_gradient=centered.value_gradient, hessian=centered.hessian),
        centered.moved(start, 1.0),
    )
    theta = centered.at(end.theta)
    gradient = end.gradient.copy()
    gradient[-2:] -= centered.slopes(theta) * gradient[levels].sum()
    return replace(end, theta=theta, gradient=gradient, hessian=goal.hessian(theta))


class _Centered:
    """A goal whose levels of detection are means over both classes."""

    def __init__(self, goal: Objective, levels: IntArray) -> None:
        self._goal, self._levels = goal, levels
        self._latest: tuple[FloatArray, FloatArray] | None = None
        self._pull = 0.0

    def moved(self, theta: FloatArray, times: float) -> FloatArray:
        """With the mean (1) or the middle (-1) of the classes in place of the other."""
        new = theta.copy()
        new[self._levels] += times * theta[-2] * (expit(theta[-1]) - 0.5)
        return new

    def at(self, centered: FloatArray) -> FloatArray:
        """The goal's own parameters, the same array when asked again, by which it knows them."""
        if self._latest is None or self._latest[0] is not centered:
            self._latest = centered, self.moved(centered, -1.0)
        return self._latest[1]

    def slopes(self, theta: FloatArray) -> FloatArray:
        """How a level follows the last two parameters (2,)."""
        share = expit(theta[-1])
        return np.array([0.5 - share, -theta[-2] * share * (1 - share)])

    def value_gradient(self, centered: FloatArray) -> tuple[float, FloatArray]:
        theta = self.at(centered)
        value, gradient = self._goal.value_gradient(theta)
        gradient = gradient.copy()
        gradient[-2:] += self.slopes(theta) * gradient[self._levels].sum()
        self._pull = float(gradient[self._levels].sum())
        return value, gradient

    def hessian(self, centered: FloatArray) -> FloatArray:
        theta = self.at(centered)
        jacobian = np.eye(len(theta))
        jacobian[self._levels, -2:] = self.slopes(theta)
        matrix = jacobian.T @ self._goal.hessian(theta) @ jacobian
        share = expit(theta[-1])
        spread = share * (1 - share)
        bend = np.array([[0.0, -spread], [-spread, -theta[-2] * spread * (1 - 2 * share)]])
        matrix[-2:, -2:] += bend * self._pull
        return np.asarray(matrix)
