"""The second stage of the trend against statsmodels, where the two mean the same.

statsmodels (BSD licence) is the second implementation: ordinary least squares, the Paule-Mandel
variance of a random-effects meta-analysis, and a linear mixed model by REML.
"""

import warnings

import numpy as np
import pytest
import statsmodels.api as sm
from statsmodels.stats.meta_analysis import combine_effects

from surveys.trends.models.year_correlation import restricted_log_likelihood
from surveys.trends.models.year_levels import YearLevels
from surveys.trends.models.year_slope import converged_line, line_design, slope_over_years

MANY_ROUTES = 10**9


def levels_of(years, values, covariance, information=None, routes=MANY_ROUTES):
    return YearLevels(
        years=np.asarray(years),
        levels=np.asarray(values, dtype=float),
        covariance=np.asarray(covariance, dtype=float),
        information=1 / np.diag(covariance) if information is None else information,
        offsets=np.zeros(1),
        part=1.0,
        routes=routes,
        routes_heard=routes,
        sites_heard=1000,
        seasons_heard=1000,
        within_routes=False,
        flags=(),
    )


def test_levels_without_error_give_ordinary_least_squares():
    """Longley 1967, J. Am. Stat. Assoc. 62:819-841, as statsmodels ships it: employment over
    the years 1947 to 1962, in millions."""
    data = sm.datasets.longley.load_pandas().data
    years, employed = data["YEAR"].to_numpy().astype(int), data["TOTEMP"].to_numpy() / 1e6
    reference = sm.OLS(employed, sm.add_constant(years - years.mean())).fit()

    line = slope_over_years(levels_of(years, employed, np.eye(len(years)) * 1e-14))

    assert line.slope == pytest.approx(reference.params[1], rel=1e-9)
    assert line.level == pytest.approx(reference.params[0], rel=1e-9)
    assert line.se == pytest.approx(reference.bse[1], rel=1e-6)
    assert line.degrees == pytest.approx(len(years) - 2, rel=1e-6)
    assert line.limits == pytest.approx(reference.conf_int()[1], rel=1e-6)
    assert line.scatter == pytest.approx(np.sqrt(reference.scale), rel=1e-6)


def test_independent_levels_give_the_variance_of_paule_and_mandel():
    rng = np.random.default_rng(5)
    own = rng.uniform(0.02, 0.4, 14)
    effects = rng.normal(0.3, np.sqrt(own + 0.25))
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)
        reference = combine_effects(effects, own, method_re="iterated")

    line = converged_line(np.ones((14, 1)), effects, np.diag(own), own)

    assert line.variance == pytest.approx(reference.tau2, rel=1e-4)
    assert (line.projection @ effects)[0] == pytest.approx(reference.mean_effect_re, rel=1e-5)


def test_balanced_years_give_the_mixed_model():
    """As many values in each year, years as random intercepts: REML has a closed form, and the
    two stages are the same model."""
    rng = np.random.default_rng(8)
    years, each = np.arange(2009, 2024), 12
    year = np.repeat(years, each)
    shared = np.repeat(rng.normal(0, 0.5, len(years)), each)
    value = 0.04 * (year - year.mean()) + shared + rng.normal(0, 0.8, len(year))
    design = sm.add_constant(year - year.mean())
    reference = sm.MixedLM(value, design, groups=year).fit(reml=True)

    by_year = value.reshape(len(years), each)
    within = by_year.var(axis=1, ddof=1).mean() / each
    line = slope_over_years(levels_of(years, by_year.mean(axis=1), np.eye(len(years)) * within))

    assert line.slope == pytest.approx(reference.fe_params[1], rel=1e-6)
    assert line.se == pytest.approx(reference.bse_fe[1], rel=1e-3)
    assert line.scatter**2 == pytest.approx(float(np.asarray(reference.cov_re)[0, 0]), rel=1e-3)


def test_steps_at_breaks_are_those_of_ordinary_least_squares():
    """Longley's years again, with a step from 1952 and one from 1957 on: two more columns."""
    data = sm.datasets.longley.load_pandas().data
    years, employed = data["YEAR"].to_numpy().astype(int), data["TOTEMP"].to_numpy() / 1e6
    columns = np.column_stack(
        [np.ones(len(years)), years - years.mean(), years >= 1952, years >= 1957]
    ).astype(float)
    reference = sm.OLS(employed, columns).fit()

    levels = levels_of(years, employed, np.eye(len(years)) * 1e-14)
    line = slope_over_years(levels, breaks=[1952, 1957])

    assert line.slope == pytest.approx(reference.params[1], rel=1e-9)
    assert line.steps == pytest.approx(reference.params[2:], rel=1e-9)
    assert line.limits == pytest.approx(reference.conf_int()[1], rel=1e-6)
    fitted = [line.at(year) for year in years.tolist()]
    assert fitted == pytest.approx(reference.fittedvalues, rel=1e-9)
    half = np.diff(reference.get_prediction(columns).conf_int(), axis=1).ravel() / 2
    assert [line.half_width(year) for year in years.tolist()] == pytest.approx(half, rel=1e-6)


def test_without_correlation_the_restricted_likelihood_has_its_closed_form():
    """Equal variances: the restricted likelihood of a line, from the residuals of ordinary least
    squares (Patterson & Thompson 1971), the constant left out."""
    rng = np.random.default_rng(11)
    years, own = np.arange(2011, 2021), 0.09
    values = 0.1 * (years - years.mean()) + rng.normal(0, 0.5, len(years))
    levels = levels_of(years, values, np.eye(len(years)) * own)
    design = line_design(levels, ())
    ours = restricted_log_likelihood(design, levels, np.eye(len(years)))

    def reference(scatter):
        spread = own + scatter**2
        fit = sm.OLS(levels.levels, design).fit()
        cross = np.linalg.slogdet(design.T @ design / spread)[1]
        return -0.5 * (len(years) * np.log(spread) + cross + fit.ssr / spread)

    best = max(reference(scatter) for scatter in np.geomspace(1e-3, 5, 4000))
    assert ours == pytest.approx(best, abs=2e-3)
