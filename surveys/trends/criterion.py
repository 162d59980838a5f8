"""The information criterion by which models are compared."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from surveys.trends.estimates import (
    DID_NOT_CONVERGE,
    EDGE_OF_RANGE,
    LEVEL_NOT_KNOWN,
    NOT_CLEARLY_BETTER,
    NOT_IDENTIFIED,
)
from surveys.trends.models.occupancy import OccupancyFit
from surveys.trends.models.unequal_fit import UnequalFit
from surveys.trends.site_covariates import SiteCovariate

# A model with one of these is listed and not used.
_UNUSED = {
    DID_NOT_CONVERGE,
    EDGE_OF_RANGE,
    LEVEL_NOT_KNOWN,
    NOT_CLEARLY_BETTER,
    NOT_IDENTIFIED,
}


@dataclass(frozen=True, kw_only=True)
class Candidate:
    """``parameters`` counts coefficients, and one for each kind of site whose occupancy is 0."""

    parameters: int
    criterion: float
    flags: tuple[str, ...]

    @property
    def is_usable(self) -> bool:
        """Whether nothing forbids to use the model."""
        return not set(self.flags) & _UNUSED


def candidate_of(
    fit: OccupancyFit | UnequalFit, site_covariates: Mapping[str, SiteCovariate]
) -> Candidate:
    """What the contest needs to know of a fitted model."""
    empty = sum(len(covariate.empty) for covariate in site_covariates.values())
    parameters = len(fit.coefficients) + empty
    effective = max(float(parameters), penalty(fit))
    return Candidate(
        parameters=parameters,
        criterion=2 * effective - 2 * fit.log_likelihood,
        flags=fit.flags,
    )


def penalty(fit: OccupancyFit | UnequalFit) -> float:
    """The effective number of parameters when the rows of a cluster are alike.

    trace(information @ clustered covariance), the penalty of an information criterion for a
    likelihood that takes dependent rows as independent (Takeuchi 1976; Varin & Vidoni 2005,
    Biometrika 92:519-528; numbers from memory). 0 where there is no clustered covariance.
    """
    if fit.clustered_covariance is None:
        return 0.0
    known = ~np.isnan(np.diag(fit.clustered_covariance)) & ~np.isnan(np.diag(fit.covariance))
    block = np.ix_(known, known)
    return float(np.trace(np.linalg.solve(fit.covariance[block], fit.clustered_covariance[block])))
