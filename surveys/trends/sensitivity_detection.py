"""How far a trend moves when the ear is wrong, or sites differ in how well they are heard.

Each function gives one line for a table beside the trend that is told: the same data and covariates
under another form of detection. No line is better than the others; where they disagree, the
sentence hangs on an assumption that the data do not settle.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy.special import logit

from surveys.trends import estimates
from surveys.trends.estimates import Estimate, not_estimable
from surveys.trends.histories import Histories
from surveys.trends.model_selection import Choice, model_terms
from surveys.trends.models.false_positive_likelihood import (
    false_positive_cells,
    objective,
    occupied_given_history,
)
from surveys.trends.models.level_models import (
    LevelModel,
    by_abundance,
    in_two_classes,
    with_certain,
    with_false_rate,
)
from surveys.trends.models.occupancy import OccupancyFit
from surveys.trends.models.year_trend import METHOD, fit_year_trend, summarize_year_trend
from surveys.trends.numerics.arrays import FloatArray
from surveys.trends.numerics.optimize import maximize

Verdict = Literal["fell", "rose", "no clear change", "cannot be said"]
# False positives were 5% of detections, 0.5 to 14% an observer, in McClintock et al. 2010,
# Journal of Wildlife Management 74:1882-1893, and 8.1% in Miller et al. 2012, Ecological
# Applications 22:1665-1674.
FALSE_SHARE = 0.05
# Common practice, no source: fewer certain detections say nothing of the others.
FEWEST_CERTAIN = 20
_SETTLED, _MOST_PASSES = 1e-4, 20


@dataclass(frozen=True, kw_only=True)
class SensitivityLine:
    """The trend under another assumption, in percent of the share of sites a year."""

    label: str
    change: Estimate

    @property
    def verdict(self) -> Verdict:
        """What the interval says by itself."""
        low, high = self.change.low, self.change.high
        if self.change.value is None or low is None or high is None:
            return "cannot be said"
        return "fell" if high < 0 else "rose" if low > 0 else "no clear change"


def detection_lines(
    histories: Histories,
    covariates: Mapping[str, FloatArray],
    choice: Choice,
    *,
    breaks: Sequence[int] = (),
) -> tuple[SensitivityLine, ...]:
    """The trend with false detections, assumed and as the confirmed ones tell, and with sites that
    differ in detection.

    Parameters
    ----------
    histories, covariates
        What ``choose_trend`` was given.
    choice
        What it chose.
    breaks
        Season years from which on the protocol or the list of stops was another.

    Returns
    -------
    tuple of SensitivityLine
        Without a value, and with flags, where the data carry none. Without confirmed detections
        the second line is not identified.

    Examples
    --------
    >>> import numpy as np
    >>> from surveys.trends.model_selection import choose_trend
    >>> rng = np.random.default_rng(1)
    >>> rows = np.arange(800)
    >>> heard = ((rng.random(800) < 0.5)[:, None] & (rng.random((800, 3)) < 0.6)).astype(float)
    >>> histories = Histories(
    ...     site=rows % 100, cluster=rows % 20, season_year=2015 + rows // 100, detected=heard,
    ...     call_index=heard, night=np.full(heard.shape, np.nan))
    >>> lines = detection_lines(histories, {}, choose_trend(histories, {}, {}))
    >>> [line.verdict for line in lines]
    ['no clear change', 'cannot be said', 'no clear change', 'no clear change']
    """
    return (
        false_detections_line(histories, covariates, choice, breaks=breaks),
        confirmed_detections_line(histories, covariates, choice, breaks=breaks),
        _line("two classes of sites", in_two_classes, histories, covariates, choice, breaks),
        _line("heard better where more call", by_abundance, histories, covariates, choice, breaks),
    )


def false_detections_line(
    histories: Histories,
    covariates: Mapping[str, FloatArray],
    choice: Choice,
    *,
    breaks: Sequence[int] = (),
    share: float = FALSE_SHARE,
) -> SensitivityLine:
    """The trend if this share of all detections were mistakes, alike in every year.

    Parameters
    ----------
    histories, covariates, choice, breaks
        As ``detection_lines`` takes them.
    share
        Of detections that are false, above 0 and below 1.

    Returns
    -------
    SensitivityLine

    Examples
    --------
    >>> import numpy as np
    >>> from surveys.trends.model_selection import choose_trend
    >>> rng = np.random.default_rng(1)
    >>> rows = np.arange(800)
    >>> heard = ((rng.random(800) < 0.5)[:, None] & (rng.random((800, 3)) < 0.6)).astype(float)
    >>> histories = Histories(
    ...     site=rows % 100, cluster=rows % 20, season_year=2015 + rows // 100, detected=heard,
    ...     call_index=heard, night=np.full(heard.shape, np.nan))
    >>> false_detections_line(histories, {}, choose_trend(histories, {}, {})).label
    '5% of detections false'
    """
    label = f"{100 * share:g}% of detections false"
    rate = false_rate(choice.trend.fit, share)
    if rate is None:
        return _unknown(label, choice.trend.fit.flags)
    return _line(label, with_false_rate(rate), histories, covariates, choice, breaks)


def confirmed_detections_line(
    histories: Histories,
    covariates: Mapping[str, FloatArray],
    choice: Choice,
    *,
    breaks: Sequence[int] = (),
) -> SensitivityLine:
    """The trend with as many false detections as the confirmed ones tell.

    Parameters
    ----------
    histories, covariates, choice, breaks
        As ``detection_lines`` takes them.

    Returns
    -------
    SensitivityLine
        Not identified without confirmed detections, flagged as too few data below 20.

    Examples
    --------
    >>> import numpy as np
    >>> from surveys.trends.model_selection import choose_trend
    >>> heard = np.tile([[1.0, 1.0, 0.0], [0.0, 1.0, 1.0], [0.0, 0.0, 0.0]], (80, 1))
    >>> rows = np.arange(240)
    >>> histories = Histories(
    ...     site=rows % 30, cluster=rows % 10, season_year=2015 + rows // 30, detected=heard,
    ...     call_index=heard, night=np.full(heard.shape, np.nan))
    >>> line = confirmed_detections_line(histories, {}, choose_trend(histories, {}, {}))
    >>> line.change.value, line.change.flags
    (None, ('not identified',))
    """
    label = "false detections as confirmed calls tell"
    certain = histories.certain
    if certain is None or not certain.any():
        return _unknown(label, (estimates.NOT_IDENTIFIED,))
    if certain.sum() < FEWEST_CERTAIN:
        return _unknown(label, (estimates.TOO_FEW_DATA,))
    return _line(label, with_certain(certain), histories, covariates, choice, breaks)


def false_rate(fit: OccupancyFit, share: float) -> float | None:
    """The chance of a false detection on a visit to an empty site at which ``share`` of all
    detections are false; None where nothing was fitted.

    How many visits were to empty sites depends on that chance, so the two are brought into line.
    """
    if fit.maximum is None or not 0 < share < 1:
        return None
    detections = float(np.nansum(fit.history))
    visits = (~np.isnan(fit.history)).sum(axis=1).astype(np.float64)
    theta = fit.maximum.theta
    rate = share * detections / max(float(visits.sum()), 1.0)
    for _ in range(_MOST_PASSES):
        cells = false_positive_cells(
            fit.history,
            np.zeros(fit.history.shape, dtype=np.bool_),
            psi_design=fit.cells.psi_design[fit.cells.group],
            p_design=_by_visit(fit),
            false_design=np.zeros((len(visits), 0)),
            false_offset=np.full(len(visits), float(logit(rate))),
            certain_design=np.zeros((len(visits), 0)),
        )
        theta = maximize(objective(cells), theta).theta
        empty = 1 - occupied_given_history(cells, theta)[cells.group]
        before = rate
        rate = min(share * detections / max(float(empty @ visits), 1.0), 0.5)
        if abs(rate - before) <= _SETTLED * before:
            break
    return rate


def _by_visit(fit: OccupancyFit) -> FloatArray:
    design: FloatArray = fit.cells.p_design[fit.cells.group]
    return design[:, 0] if design.shape[1] == 1 else design


def _line(
    label: str,
    model: LevelModel,
    histories: Histories,
    covariates: Mapping[str, FloatArray],
    choice: Choice,
    breaks: Sequence[int],
) -> SensitivityLine:
    trend = fit_year_trend(
        histories.detected,
        histories.season_year,
        histories.cluster,
        **model_terms(
            histories, covariates, choice.detection, tuple(choice.site_covariates.values())
        ),
        breaks=breaks,
        model=model,
    )
    return SensitivityLine(label=label, change=summarize_year_trend(trend).occupancy)


def _unknown(label: str, flags: tuple[str, ...]) -> SensitivityLine:
    return SensitivityLine(label=label, change=not_estimable(label, method=METHOD, flags=flags))
