"""Where a function is zero.

``scipy.optimize`` is imported at the first search: with the site it would be a tenth of the start
of every command and worker, most of which fit nothing.
"""

from __future__ import annotations

from collections.abc import Callable


def root(
    function: Callable[[float], float], low: float, high: float, *, xtol: float = 2e-12
) -> float:
    """The zero of a function between two numbers at which its signs differ, by the method of Brent
    (1973, Algorithms for Minimization without Derivatives), to ``xtol``.

    Raises ValueError where the signs are the same.

    >>> round(root(lambda x: x * x - 2, 0.0, 2.0), 6)
    1.414214
    """
    from scipy.optimize import brentq  # noqa: PLC0415 - see above

    return float(brentq(function, low, high, xtol=xtol))
