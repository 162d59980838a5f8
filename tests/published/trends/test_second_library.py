"""Parts of the estimators that a general library also has (statsmodels)."""

import numpy as np
import pytest
import statsmodels.api as sm
from statsmodels.base.model import GenericLikelihoodModel
from statsmodels.miscmodels.ordinal_model import OrderedModel

from surveys.trends.models.occupancy import fit_occupancy
from surveys.trends.models.phenology_shift import shift_of_season
from surveys.trends.numerics.ordinal import class_chances
from surveys.trends.numerics.sandwich import (
    cluster_scores,
    sandwich_covariance,
)
from tests.unit.trends.simulated import occupancy_histories


def test_clustered_covariance_of_a_logistic_regression():
    """Logit.fit(cov_type="cluster") without the small-sample factor for parameters, which has
    C / (C - 1) times (n - 1) / (n - k); tolerance: rounding."""
    rng = np.random.default_rng(1)
    x = np.column_stack([np.ones(400), rng.normal(size=400)])
    cluster = np.repeat(np.arange(40), 10)
    y = (rng.random(400) < 1 / (1 + np.exp(-x @ [0.2, 0.7]))).astype(float)
    other = sm.Logit(y, x).fit(
        disp=0, cov_type="cluster", cov_kwds={"groups": cluster, "use_correction": False}
    )
    chance = other.predict(x)
    information = x.T @ ((chance * (1 - chance))[:, None] * x)
    scores = cluster_scores((y - chance)[:, None] * x, cluster)
    found = sandwich_covariance(information, scores)
    np.testing.assert_allclose(found * 39 / 40, other.cov_params(), rtol=1e-8)


def test_ordered_classes():
    """OrderedModel(distr="logit").predict; tolerance: rounding."""
    rng = np.random.default_rng(2)
    x = rng.normal(size=(300, 1))
    y = np.digitize(x[:, 0] + rng.logistic(size=300), [-1.0, 0.5, 2.0])
    other = OrderedModel(y, x, distr="logit").fit(disp=0)
    slope, first, *steps = other.params
    thresholds = np.cumsum([first, *np.exp(steps)])
    found = np.exp(class_chances(thresholds, x[:, 0] * slope).log)
    np.testing.assert_allclose(found, other.predict(x), atol=1e-10)


class _Occupancy(GenericLikelihoodModel):
    """The model written out from the paper, fitted and differentiated by the library."""

    def loglikeobs(self, params):
        k = self.exog.shape[1]
        psi = 1 / (1 + np.exp(-self.exog @ params[:k]))
        p = 1 / (1 + np.exp(-(params[k] + params[k + 1] * self.air)))
        heard = np.where(self.endog > 0, p, 1 - p).prod(axis=1)
        return np.log(psi * heard + (1 - psi) * (self.endog.sum(axis=1) == 0))


def test_occupancy_with_covariates():
    """GenericLikelihoodModel with numerical derivatives and Nelder-Mead, then BFGS.

    Tolerance: 1e-4 of a standard error for estimates, 0.1 % for standard errors.
    """
    rng = np.random.default_rng(3)
    fish, air = rng.integers(0, 2, 250).astype(float), rng.normal(size=(250, 3))
    psi, p = 1 / (1 + np.exp(-(0.5 - fish))), 1 / (1 + np.exp(-(0.2 + 0.6 * air)))
    history = occupancy_histories(rng, psi=psi, p=p)
    found = fit_occupancy(history, occupancy={"fish": fish}, detection={"air": air})

    model = _Occupancy(
        history, np.column_stack([np.ones(250), fish]), extra_params_names=["p", "air"]
    )
    model.air = air
    near = model.fit(start_params=np.zeros(4), method="nm", maxiter=5000, disp=0)
    other = model.fit(start_params=near.params, method="bfgs", gtol=1e-8, disp=0)
    se = np.sqrt(np.diag(found.covariance))
    assert np.abs(found.coefficients - other.params).max() < 1e-4 * se.min()
    np.testing.assert_allclose(se, other.bse, rtol=1e-3)
    assert found.log_likelihood == pytest.approx(other.llf, abs=1e-6)


def test_shift_of_the_season():
    """Logit.fit(cov_type="cluster") with a level for each season, and the delta method by numerical
    derivatives of the top of the curve. Tolerance: 1e-5, that of the differences."""
    rng = np.random.default_rng(4)
    season, route, day = (axis.ravel() for axis in np.indices((6, 12, 15)))
    day = 100 + 5 * day + rng.integers(0, 3, len(day))
    peak = 135 + 1.2 * season + rng.normal(0, 3, 12)[route]
    heard = rng.random(len(day)) < 0.7 * np.exp(-(((day - peak) / 15) ** 2))
    found = shift_of_season(day, heard, 2015 + season, route)

    x, t = (day - 135) / 20, season - 2.5
    levels = (season[:, None] == np.arange(6)).astype(float)
    other = sm.Logit(heard.astype(float), np.column_stack([x, x**2, x * t, levels])).fit(
        disp=0, tol=1e-12, cov_type="cluster", cov_kwds={"groups": route, "use_correction": False}
    )

    def days_a_decade(b):
        top = [135 - 20 * (b[0] + b[2] * years) / (2 * b[1]) for years in (0.0, 10.0)]
        return top[1] - top[0]

    steps = 1e-5 * np.eye(len(other.params))
    gradient = [
        (days_a_decade(other.params + step) - days_a_decade(other.params - step)) / 2e-5
        for step in steps
    ]
    variance = gradient @ other.cov_params() @ gradient * 12 / 11
    assert found.value == pytest.approx(days_a_decade(other.params), rel=1e-5)
    assert found.se == pytest.approx(variance**0.5, rel=1e-5)
