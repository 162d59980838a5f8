"""Slope over season years that differ from each other: the second stage of a trend.

Good and bad years are shared by all routes, so errors that are clustered by route leave them out.
Here the scatter of the yearly levels around the line is measured and added: the variance between
years by moments (Paule & Mandel 1982, J. Res. Natl. Bur. Stand. 87:377-385; as in the
random-effects meta-regression of Thompson & Sharp 1999, Statistics in Medicine 18:2693-2708),
degrees of freedom by matching moments (Satterthwaite 1946, Biometrics Bulletin 2:110-114). The
errors of the levels are correlated, which those sources do not have: traces take the place of sums.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import chdtr

from surveys.trends.models.year_levels import YearLevels
from surveys.trends.numerics.arrays import FloatArray, check_level
from surveys.trends.numerics.intervals import t_quantile
from surveys.trends.numerics.roots import root

# Common practice, no source: a line through fewer years says nothing of good and bad years.
FEWEST_YEARS = 5
_MOST_PASSES = 50
_SETTLED = 1e-9
_WIDEST_SD = 20.0
# Of the variance that the levels have by themselves: with less, the routes have all changed alike,
# and their errors by route are numerical noise.
_LEAST_PART = 1e-6


@dataclass(frozen=True, kw_only=True)
class YearSlope:
    """A line through yearly levels on the logit scale.

    ``slope`` is per year, ``level`` is the line at ``center``, a season year, before the first
    break; from each season year of ``breaks`` on, the line lies by its step of ``steps`` higher.
    ``covariance`` belongs to ``(level, slope, *steps)`` and holds the errors by route and the
    scatter of years; ``degrees`` are those of the t distribution. ``scatter`` is the standard
    deviation of years around the line, with limits; ``scatter_high`` is None where the data set
    none. ``fitted`` is the weighted least squares behind it; ``mixed_limits`` stand in place of
    the t interval of the slope where years may be correlated.
    """

    slope: float
    level: float
    center: float
    breaks: tuple[int, ...]
    steps: tuple[float, ...]
    covariance: FloatArray
    degrees: float
    scatter: float
    scatter_low: float
    scatter_high: float | None
    confidence: float
    fitted: Line
    mixed_limits: tuple[float, float] | None = None

    @property
    def se(self) -> float:
        """Standard error of the slope."""
        return float(np.sqrt(self.covariance[1, 1]))

    @property
    def quantile(self) -> float:
        """Standard errors to either end of an interval."""
        return t_quantile(self.confidence, self.degrees)

    @property
    def limits(self) -> tuple[float, float]:
        """The interval of the slope."""
        if self.mixed_limits is not None:
            return self.mixed_limits
        half = self.quantile * self.se
        return self.slope - half, self.slope + half

    def at(self, year: float) -> float:
        """The line in a season year."""
        steps = zip(self.breaks, self.steps, strict=True)
        stepped = sum(step for first, step in steps if first <= year)
        return self.level + stepped + self.slope * (year - self.center)

    def half_width(self, year: int) -> float:
        """From the line to either end of its interval in a season year."""
        ahead = np.array(
            [1.0, year - self.center, *(float(first <= year) for first in self.breaks)]
        )
        return self.quantile * float(np.sqrt(ahead @ self.covariance @ ahead))


def slope_over_years(
    levels: YearLevels,
    *,
    breaks: Sequence[int] = (),
    confidence: float = 0.95,
    route_degrees: float | None = None,
) -> YearSlope | None:
    """The slope of yearly levels, with an interval that knows good and bad years.

    Parameters
    ----------
    levels
        Yearly levels (logit scale) with their covariance by route.
    breaks
        Season years from which on the protocol or the list of stops was another. Each has a step
        of its own: a step in how well frogs are heard cannot be told from one in how many there
        are.
    confidence
        Of the intervals, between 0 and 1.
    route_degrees
        Degrees of freedom of the errors by route; one less than there are routes without it.

    Returns
    -------
    YearSlope or None
        None where the levels have no covariance, or are no more than the line has parameters, or
        where all routes changed alike, so that nothing tells how uncertain the slope is.

    Raises
    ------
    ValueError
        For a confidence outside 0 to 1.

    Examples
    --------
    >>> import numpy as np
    >>> from surveys.trends.models.year_levels import YearLevels
    >>> years = np.arange(2015, 2025)
    >>> levels = YearLevels(
    ...     years=years, levels=-0.1 * (years - 2015), covariance=np.eye(10) * 0.04,
    ...     information=np.full(10, 25.0), offsets=np.zeros(1), part=1.0, routes=20,
    ...     routes_heard=20, sites_heard=500, seasons_heard=500,
    ...     within_routes=False, flags=())
    >>> line = slope_over_years(levels)
    >>> round(line.slope, 6), round(line.se, 4), line.scatter
    (-0.1, 0.022, 0.0)
    """
    check_level(confidence)
    design = line_design(levels, breaks)
    if design is None or levels.covariance is None:
        return None
    by_route = levels.covariance
    plain = np.linalg.pinv(design)[1]
    if plain @ by_route @ plain <= _LEAST_PART * float(plain**2 @ (1 / levels.information)):
        return None
    # Rows of a route are alike, so a level is less certain than its information says; how uneven
    # the years are comes from the information, which is less noisy than the clustered variances.
    alike = float(np.mean(np.diag(by_route) * levels.information))
    line = converged_line(design, levels.levels, by_route, alike / levels.information)
    coefficients = line.projection @ levels.levels
    from_routes = line.projection @ by_route @ line.projection.T
    from_years = line.projection @ line.projection.T
    low, high = line.variance_limits(by_route, confidence)
    return YearSlope(
        slope=float(coefficients[1]),
        level=float(coefficients[0]),
        center=float(levels.years.mean()),
        breaks=tuple(breaks),
        steps=tuple(coefficients[2:].tolist()),
        covariance=from_routes + line.variance * from_years,
        degrees=matched_degrees(
            from_routes=float(from_routes[1, 1]),
            from_years=float(from_years[1, 1]),
            variance=line.variance,
            mean_square=line.rss / float(np.trace(line.form)),
            of_routes=float(levels.routes - 1) if route_degrees is None else route_degrees,
            of_years=line.residual_degrees,
            years=len(levels.years),
        ),
        fitted=line,
        scatter=float(np.sqrt(line.variance)),
        scatter_low=float(np.sqrt(low)),
        scatter_high=None if high is None else float(np.sqrt(high)),
        confidence=confidence,
    )


def line_design(levels: YearLevels, breaks: Sequence[int]) -> FloatArray | None:
    """Columns (T, 2 + breaks) of a line with a step at each break: 1, years from their mean, and
    whether the break has come; None where the levels cannot tell them apart."""
    years = levels.years.astype(np.float64)
    center = float(years.mean()) if len(years) else 0.0
    steps = [(levels.years >= first).astype(np.float64) for first in breaks]
    design = np.column_stack([np.ones(len(years)), years - center, *steps])
    terms = design.shape[1]
    if len(years) <= terms or np.linalg.matrix_rank(design) < terms:
        return None
    return design


@dataclass(frozen=True, kw_only=True)
class Line:
    """Weighted least squares through T levels.

    ``projection`` (terms, T) gives the coefficients, ``form`` (T, T) the weighted sum of squares
    ``rss`` of the residuals as a quadratic form of the levels, ``variance`` that between years.
    """

    projection: FloatArray
    form: FloatArray
    rss: float
    variance: float

    @property
    def residual_degrees(self) -> float:
        """Degrees of freedom of the residuals under years alone."""
        return float(np.trace(self.form) ** 2 / np.trace(self.form @ self.form))

    def variance_limits(
        self, by_route: FloatArray, confidence: float
    ) -> tuple[float, float | None]:
        """Limits of the variance between years: where the sum of squares, taken as a scaled chi
        square of the same mean and variance, lies at either tail (after Viechtbauer 2007,
        Statistics in Medicine 26:37-52, whose levels are independent)."""

        within = self.form @ by_route
        means = np.trace(within), np.trace(self.form)
        squares = (
            np.trace(within @ within),
            2 * np.trace(within @ self.form),
            np.trace(self.form @ self.form),
        )

        def share_below(variance: float) -> float:
            mean = float(means[0] + variance * means[1])
            degrees = mean**2 / float(squares[0] + variance * (squares[1] + variance * squares[2]))
            return float(chdtr(degrees, max(0.0, self.rss / mean * degrees)))

        tail = (1 - confidence) / 2
        return _crossing(share_below, 1 - tail) or 0.0, _crossing(share_below, tail)


def converged_line(
    design: FloatArray, levels: FloatArray, by_route: FloatArray, own_variance: FloatArray
) -> Line:
    """The line whose weights rest on the variance between years that it leaves.

    ``design`` is (T, terms), ``levels`` (T,) with covariance ``by_route`` (T, T); ``own_variance``
    (T,) is how uncertain each level is by itself, for the weights.
    """
    variance = float(np.mean(own_variance))
    for _ in range(_MOST_PASSES):
        line = _weighted(design, levels, by_route, 1.0 / (variance + own_variance))
        change, variance = abs(line.variance - variance), line.variance
        if change < _SETTLED:
            break
    return line


def _weighted(
    design: FloatArray, levels: FloatArray, by_route: FloatArray, weight: FloatArray
) -> Line:
    weighted = design * weight[:, None]
    projection = np.asarray(np.linalg.solve(design.T @ weighted, weighted.T), dtype=np.float64)
    residual = np.eye(len(design)) - design @ projection
    form = residual.T @ (weight[:, None] * residual)
    rss = float(levels @ form @ levels)
    excess = (rss - float(np.trace(form @ by_route))) / float(np.trace(form))
    return Line(projection=projection, form=form, rss=rss, variance=max(0.0, excess))


def _crossing(falling: Callable[[float], float], wanted: float) -> float | None:
    """Where a falling function of the variance meets ``wanted``; None where it stays above."""
    if falling(0.0) <= wanted:
        return 0.0
    if falling(_WIDEST_SD**2) >= wanted:
        return None
    return root(lambda variance: falling(variance) - wanted, 0.0, _WIDEST_SD**2)


def matched_degrees(
    *,
    from_routes: float,
    from_years: float,
    variance: float,
    mean_square: float,
    of_routes: float,
    of_years: float,
    years: int,
) -> float:
    """Degrees of freedom of the slope, matched to the moments of its two parts.

    ``from_routes`` is the part of its variance by routes, ``from_years`` that of a variance between
    years of 1; ``variance`` is the latter, ``mean_square`` the residual one; ``of_routes`` and
    ``of_years`` the degrees of freedom of the two parts.
    """
    if years < FEWEST_YEARS:
        return max(1.0, min(of_years, of_routes))
    total = from_routes + variance * from_years
    matched = total**2 / (from_routes**2 / of_routes + (from_years * mean_square) ** 2 / of_years)
    degrees = min(matched, of_routes)
    return max(1.0, min(degrees, of_years) if variance > 0 else degrees)
