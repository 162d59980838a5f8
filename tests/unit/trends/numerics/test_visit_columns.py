"""Covariates of visits, laid out once for all models."""

import numpy as np
import pytest

from surveys.trends.models.occupancy_estimates import detection_share
from surveys.trends.models.trend import fit_trend
from surveys.trends.numerics import visit_layout
from surveys.trends.numerics.visit_columns import of_rows, picked, visit_columns

NAN = float("nan")


@pytest.fixture(scope="module")
def survey():
    rng = np.random.default_rng(2)
    year, route = np.repeat(np.arange(2015, 2021), 60), np.tile(np.arange(12), 30)
    air, wind = rng.normal(8, 3, (360, 3)), rng.integers(0, 5, (360, 3)) * 1.0
    chance = 1 / (1 + np.exp(0.2 * wind - 0.1 * air))
    heard = ((rng.random(360) < 0.6)[:, None] & (rng.random((360, 3)) < chance)) * 1.0
    heard[rng.random(heard.shape) < 0.1] = NAN
    return heard, year, route, {"air": np.where(np.isnan(heard), NAN, air), "wind": wind}


def test_as_a_mapping_they_are_the_covariates(survey):
    heard, _, _, covariates = survey
    columns = visit_columns(heard, covariates)
    assert list(columns) == ["air", "wind"]
    seen = ~np.isnan(heard)
    for name, values in columns.items():
        np.testing.assert_allclose(values[seen], covariates[name][seen])
        np.testing.assert_allclose(values[~seen], covariates[name][seen].mean())
    part = of_rows(columns, np.array([3, 1]))
    np.testing.assert_allclose(part["wind"], columns["wind"][[3, 1]])
    assert picked(columns, ()) == {}


def test_columns_are_copied_at_most_once(survey, monkeypatch):
    heard, year, _, covariates = survey
    visited = ~np.isnan(heard).all(axis=1)
    monkeypatch.setattr(visit_layout, "MOST_NUMBERS", 200)
    columns = visit_columns(
        heard[visited],
        {name: values[visited] for name, values in covariates.items()},
        year[visited],
    )
    assert np.shares_memory(columns.pick(["air"]).columns, columns.columns)
    wind, both = columns.pick(["wind"]), columns.pick(["wind", "air"])
    assert columns.pick(("wind",)) is wind
    assert list(wind) == ["wind"]
    assert list(both) == ["wind", "air"]
    np.testing.assert_array_equal(both.columns, columns.columns[[0, 2, 1]])
    block = columns.layout.blocks[0]
    assert block.picked(wind.places) is block.picked(wind.places)
    for one in (wind, both, columns):
        np.testing.assert_array_equal(block.picked(one.places), block.columns[one.places])


@pytest.mark.parametrize("in_blocks", [False, True])
@pytest.mark.parametrize("by_year", [False, True])
def test_a_fit_with_them_is_the_fit_with_the_covariates(survey, by_year, in_blocks, monkeypatch):
    heard, year, route, covariates = survey
    if in_blocks:
        visited = ~np.isnan(heard).all(axis=1)
        heard, year, route = heard[visited], year[visited], route[visited]
        covariates = {name: values[visited] for name, values in covariates.items()}
        monkeypatch.setattr(visit_layout, "MOST_NUMBERS", 200)
    columns = visit_columns(heard, covariates, year if in_blocks else None)
    assert (columns.layout is not None) == in_blocks
    fits = [
        fit_trend(heard, year, route, detection=of, detection_by_year=by_year).fit
        for of in (covariates, columns, columns.pick(("wind",)), {"wind": covariates["wind"]})
    ]
    for one, other in (fits[:2], fits[2:]):
        np.testing.assert_allclose(one.coefficients, other.coefficients, atol=1e-6)
        for name in ("covariance", "clustered_covariance"):
            np.testing.assert_allclose(getattr(one, name), getattr(other, name), rtol=1e-5)
    if not by_year:
        shares = [detection_share(fit, interval="clustered") for fit in fits[:2]]
        assert shares[0].value == pytest.approx(shares[1].value)
        assert shares[0].se == pytest.approx(shares[1].se)


def test_a_visit_without_a_value_is_refused(survey):
    heard, *_ = survey
    with pytest.raises(ValueError, match="fog: a visit that happened"):
        visit_columns(heard, {"fog": np.full(heard.shape, NAN)})
